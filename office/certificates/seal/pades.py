"""The signature of a PDF: PAdES (ETSI EN 319 142-1) by pyHanko, certifying, no change allowed afterwards (DocMDP 1).

Signed at the recorded moment of issue, by RFC 6979, so that the same paper is signed to the same bytes. pyHanko is
heavy, and imported where it is needed.
"""

from __future__ import annotations

import asyncio
import datetime as dt
import hashlib
import io
import logging
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec

if TYPE_CHECKING:
    from office.certificates.seal.keyring import PaperKey

FIELD = "Seal"
ROOM = 3000  # bytes kept free for the signature, which takes some 1,500 and the names of the office


def sign(content: bytes, key: PaperKey, at: dt.datetime) -> bytes:
    """The PDF with its signature, which covers all of it."""
    from pyhanko.pdf_utils import generic  # noqa: PLC0415  (a heavy library)
    from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter  # noqa: PLC0415
    from pyhanko.sign import fields, signers  # noqa: PLC0415

    class AtItsIssue(signers.PdfSigner):
        """Signing time is the office's recorded moment, not that of this machine's clock."""

        def register_extensions(self, *args: Any, **kwargs: Any) -> None:
            """PDF 1.7 knows all that is used."""

        def init_signing_session(self, *args: Any, **kwargs: Any) -> Any:
            session = super().init_signing_session(*args, **kwargs)
            session.system_time = at
            return session

    class Repeatable(IncrementalPdfFileWriter):
        """Adds the signature and nothing else: what the paper says of itself as PDF/A-3a stays as it was written."""

        output_version = (1, 7)  # PDF/A-3 is a PDF 1.7

        def _update_meta(self) -> None:
            """No other date, no other producer."""

        @classmethod
        def _handle_id(cls, prev: Any) -> Any:
            """The second half of the file's identity follows from its content, not from dice."""
            first, _ = super()._handle_id(prev)  # type: ignore[no-untyped-call]
            return generic.ArrayObject([first, generic.ByteStringObject(hashlib.sha256(content).digest()[:16])])

    metadata = signers.PdfSignatureMetadata(
        field_name=FIELD,
        subfilter=fields.SigSeedSubFilter.PADES,
        certify=True,
        docmdp_permissions=fields.MDPPerm.NO_CHANGES,
        md_algorithm="sha256",
    )
    signer = AtItsIssue(metadata, _signer(key))
    out = io.BytesIO()

    async def run() -> None:
        await signer.async_sign_pdf(Repeatable(io.BytesIO(content)), bytes_reserved=2 * ROOM, output=out)

    _in_a_loop_of_its_own(run)
    return out.getvalue()


def _signer(key: PaperKey) -> Any:
    from asn1crypto import keys, x509  # noqa: PLC0415
    from pyhanko.sign import signers  # noqa: PLC0415
    from pyhanko_certvalidator.registry import SimpleCertificateStore  # noqa: PLC0415

    class ByRfc6979(signers.SimpleSigner):
        async def async_sign_raw(self, data: bytes, digest_algorithm: str, dry_run: bool = False) -> bytes:
            private = serialization.load_der_private_key(key.private, None)
            if not isinstance(private, ec.EllipticCurvePrivateKey) or digest_algorithm != "sha256":
                raise TypeError("a paper is signed with a key on a curve, over SHA-256")
            return private.sign(data, ec.ECDSA(hashes.SHA256(), deterministic_signing=True))

    store = SimpleCertificateStore()  # type: ignore[no-untyped-call]
    store.register(x509.Certificate.load(key.root))
    return ByRfc6979(
        signing_cert=x509.Certificate.load(key.certificate),
        signing_key=keys.PrivateKeyInfo.load(key.private),
        cert_registry=store,
        embed_roots=False,
    )


def complaint(content: bytes, roots: list[bytes], moment: dt.datetime) -> str:
    """What pyHanko has against the signature, judged at that moment; empty where it accepts it wholly."""
    from asn1crypto import x509  # noqa: PLC0415
    from pyhanko.pdf_utils.reader import PdfFileReader  # noqa: PLC0415
    from pyhanko.sign.validation import SignatureCoverageLevel, async_validate_pdf_signature  # noqa: PLC0415
    from pyhanko_certvalidator import ValidationContext  # noqa: PLC0415

    context = ValidationContext(
        trust_roots=[x509.Certificate.load(root) for root in roots], allow_fetching=False, moment=moment
    )

    async def run() -> str:
        signatures = PdfFileReader(io.BytesIO(content)).embedded_signatures
        if len(signatures) != 1:
            return f"{len(signatures)} signatures instead of one"
        status = await async_validate_pdf_signature(signatures[0], context)
        if not status.bottom_line:
            return str(status.summary())
        return "" if status.coverage == SignatureCoverageLevel.ENTIRE_FILE else f"it covers {status.coverage}"

    with _quiet():
        try:
            return str(_in_a_loop_of_its_own(run))
        except Exception as error:  # noqa: BLE001  (a file from outside may break the reader in any way)
            return f"it cannot be read: {type(error).__name__}"


def _in_a_loop_of_its_own(run: Any) -> Any:
    """pyHanko is written for asyncio; the caller's thread may have a running loop of its own."""
    with ThreadPoolExecutor(1) as pool:
        return pool.submit(lambda: asyncio.run(run())).result()


@contextmanager
def _quiet() -> Iterator[None]:
    """pyHanko logs a traceback for every ordinary refusal; ours is one sentence."""
    logger = logging.getLogger("pyhanko")
    former = logger.level
    logger.setLevel(logging.CRITICAL + 1)
    try:
        yield
    finally:
        logger.setLevel(former)
