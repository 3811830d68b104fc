"""A paper's signature read strictly: which bytes it covers, and that its CMS (RFC 5652) is exactly as we write it.

Two places of a signed PDF are covered by no signature: the room that the signature itself lies in, and the frame of
the CMS around what was signed. Both are therefore made anew from their parts and compared byte for byte, so that no
byte of the file can be changed unseen.
"""

from __future__ import annotations

import hashlib
import re
from dataclasses import dataclass
from typing import Any

from cryptography import x509
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import ec

RANGE = re.compile(rb"/ByteRange \[(\d{1,9}) (\d{1,9}) (\d{1,9}) (\d{1,9})\] *\n")
ROOM = re.compile(rb"<[0-9A-F]+>")


class Unsigned(ValueError):
    """The file bears no signature of the office's making; the text is one sentence."""


class Broken(ValueError):
    """The file bears a signature that does not hold; the text is one sentence."""


@dataclass(frozen=True, slots=True)
class Signature:
    """The certificate it was made with (DER), not yet known to be one of the office's."""

    certificate: bytes


def read(content: bytes) -> Signature:
    """The signature of a PDF, shown to cover the whole of it, to the last byte. Raises Unsigned or Broken."""
    covered, der = _covered(content)
    attributes, signature, certificate = _parts(der)
    if _rebuilt(attributes, signature, certificate) != der:
        raise Broken("The signature's frame was altered.")
    _attributes_fit(attributes, covered, certificate)
    public = x509.load_der_x509_certificate(certificate).public_key()
    if not isinstance(public, ec.EllipticCurvePublicKey):
        raise Unsigned("It is signed with another kind of key than this office uses.")
    try:
        public.verify(signature, b"\x31" + attributes.dump()[1:], ec.ECDSA(hashes.SHA256()))
    except InvalidSignature as error:
        raise Broken("The signature does not hold: the file was altered after it was signed.") from error
    return Signature(certificate)


def _covered(content: bytes) -> tuple[bytes, bytes]:
    """The bytes that were signed, and the signature that lies in the room between them."""
    found = RANGE.findall(content)
    if not found and b"/ByteRange" not in content:
        raise Unsigned("It bears no signature.")
    if len(found) != 1 or content.count(b"/ByteRange") != 1:
        raise Broken("Its signature was altered, or somebody signed it once more.")
    begin, first, second, rest = (int(number) for number in found[0])
    if begin or first >= second or second + rest != len(content):
        raise Broken("Its signature does not cover the whole file: something was added or taken away.")
    room = content[first:second]
    if not ROOM.fullmatch(room) or len(room) % 2:
        raise Broken("The room of its signature was altered.")
    whole = bytes.fromhex(room[1:-1].decode())
    der = whole[: _length(whole)]
    if any(whole[len(der) :]):
        raise Broken("Something lies in the room of its signature beside the signature.")
    return content[:first] + content[second:], der


def _length(der: bytes) -> int:
    """How long the first element is, its head counted; two bytes of length, as ours has."""
    if der[:2] != b"\x30\x82":
        raise Broken("Its signature was altered.")
    return 4 + int.from_bytes(der[2:4])


def _parts(der: bytes) -> tuple[Any, bytes, bytes]:
    from asn1crypto import cms  # noqa: PLC0415  (only where papers are read)

    try:
        signed = cms.ContentInfo.load(der, strict=True)["content"]
        one = signed["signer_infos"][0]
        return one["signed_attrs"], one["signature"].native, signed["certificates"][0].chosen.dump()
    except Exception as error:  # bytes from outside may break the reader in any way
        raise Broken("Its signature was altered: it cannot be read.") from error


def _rebuilt(attributes: Any, signature: bytes, certificate: bytes) -> bytes:
    """The CMS as pyHanko writes it for us, from what was signed, the signature and the signer's certificate."""
    from asn1crypto import cms  # noqa: PLC0415
    from asn1crypto import x509 as asn1_x509  # noqa: PLC0415

    try:
        signer = asn1_x509.Certificate.load(certificate, strict=True)
        sha256 = {"algorithm": "sha256"}
        info = {
            "version": "v1",
            "sid": cms.SignerIdentifier(
                "issuer_and_serial_number", {"issuer": signer.issuer, "serial_number": signer.serial_number}
            ),
            "digest_algorithm": sha256,
            "signed_attrs": attributes,
            "signature_algorithm": {"algorithm": "sha256_ecdsa"},
            "signature": signature,
        }
        signed = {
            "version": "v1",
            "digest_algorithms": [sha256],
            "encap_content_info": {"content_type": "data"},
            "certificates": [signer],
            "signer_infos": [info],
        }
        return bytes(cms.ContentInfo({"content_type": "signed_data", "content": cms.SignedData(signed)}).dump())
    except Exception as error:  # as above
        raise Broken("Its signature was altered: it cannot be read.") from error


def _attributes_fit(attributes: Any, covered: bytes, certificate: bytes) -> None:
    """What was signed names this very content and this very certificate (RFC 5652, 11; RFC 5035, 3)."""
    try:
        told = {one["type"].dotted: one["values"] for one in attributes}
        digest = told["1.2.840.113549.1.9.4"][0].native
        signer = hashlib.sha256(certificate).digest()
        names_signer = signer in told["1.2.840.113549.1.9.16.2.47"].dump()
    except Exception as error:  # as above
        raise Broken("Its signature was altered: it cannot be read.") from error
    if digest != hashlib.sha256(covered).digest():
        raise Broken("The file was altered after it was signed: its content is not what the signature covers.")
    if not names_signer:
        raise Broken("The signature names another certificate than the one it carries.")
