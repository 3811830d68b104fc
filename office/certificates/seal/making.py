"""Fresh keys: the office's root (EC P-384), the key of its papers (EC P-256, with an X.509 certificate of the root)
and the key of its statements (Ed25519, RFC 8032). Pure: no database, no file.

Whatever is not secret follows from the public key and the moment: serial numbers, and signatures by RFC 6979.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import secrets
from dataclasses import dataclass

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec, ed25519
from cryptography.x509.oid import NameOID

from office.certificates.seal.published import PAPER, ROOT, STATEMENT

LASTS = {ROOT: dt.timedelta(days=365 * 25), PAPER: dt.timedelta(days=365 * 6), STATEMENT: dt.timedelta(days=365 * 6)}
# 2**160 possible serial numbers (RFC 5280, 4.1.2.2: at most 20 octets, positive).
SERIAL_BYTES = 19
Private = ec.EllipticCurvePrivateKey | ed25519.Ed25519PrivateKey


@dataclass(frozen=True, slots=True, kw_only=True)
class FreshKey:
    purpose: str
    private: Private
    public: bytes  # SubjectPublicKeyInfo, DER
    certificate: bytes = b""  # DER
    used_from: dt.datetime
    expires_at: dt.datetime

    @property
    def identifier(self) -> str:
        return identifier_of(self.public)


def identifier_of(public: bytes) -> str:
    """The first eight bytes of the SHA-256 of a public key: what statements and papers name it by."""
    return hashlib.sha256(public).hexdigest()[:16]


def make_root(office: str, at: dt.datetime) -> FreshKey:
    private = _on_curve(ec.SECP384R1())
    name = _name(office, "root")
    certificate = _certificate(private.public_key(), name, private, name, at, ROOT)
    return _fresh(ROOT, private, at, certificate)


def make_paper_key(office: str, root: Private, root_certificate: bytes, at: dt.datetime) -> FreshKey:
    if not isinstance(root, ec.EllipticCurvePrivateKey):
        raise TypeError("a root is a key on a curve")
    private = _on_curve(ec.SECP256R1())
    issuer = x509.load_der_x509_certificate(root_certificate).subject
    certificate = _certificate(private.public_key(), _name(office, "papers"), root, issuer, at, PAPER)
    return _fresh(PAPER, private, at, certificate)


def make_statement_key(at: dt.datetime) -> FreshKey:
    return _fresh(STATEMENT, ed25519.Ed25519PrivateKey.from_private_bytes(secrets.token_bytes(32)), at, None)


def _fresh(purpose: str, private: Private, at: dt.datetime, certificate: x509.Certificate | None) -> FreshKey:
    return FreshKey(
        purpose=purpose,
        private=private,
        public=private.public_key().public_bytes(
            serialization.Encoding.DER, serialization.PublicFormat.SubjectPublicKeyInfo
        ),
        certificate=certificate.public_bytes(serialization.Encoding.DER) if certificate else b"",
        used_from=at,
        expires_at=at + LASTS[purpose],
    )


def _on_curve(curve: ec.EllipticCurve) -> ec.EllipticCurvePrivateKey:
    """Eight bytes more than the curve's order, reduced: the bias is out of reach (FIPS 186-5, A.2.1)."""
    drawn = int.from_bytes(secrets.token_bytes(curve.key_size // 8 + 8))
    return ec.derive_private_key(drawn % (curve.group_order - 1) + 1, curve)


def _name(office: str, part: str) -> x509.Name:
    return x509.Name(
        [
            x509.NameAttribute(NameOID.ORGANIZATION_NAME, (office or "Rig office")[:64]),
            x509.NameAttribute(NameOID.COMMON_NAME, f"{(office or 'Rig office')[:50]}, {part}"),
        ]
    )


def _certificate(
    public: ec.EllipticCurvePublicKey,
    subject: x509.Name,
    signer: ec.EllipticCurvePrivateKey,
    issuer: x509.Name,
    at: dt.datetime,
    purpose: str,
) -> x509.Certificate:
    is_root = purpose == ROOT
    spki = public.public_bytes(serialization.Encoding.DER, serialization.PublicFormat.SubjectPublicKeyInfo)
    builder = (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(issuer)
        .public_key(public)
        .serial_number(int.from_bytes(hashlib.sha256(b"serial" + spki).digest()[:SERIAL_BYTES]) | 1)
        .not_valid_before(at)
        .not_valid_after(at + LASTS[purpose])
        .add_extension(x509.BasicConstraints(ca=is_root, path_length=0 if is_root else None), critical=True)
        .add_extension(_usage(is_root), critical=True)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(public), critical=False)
        .add_extension(x509.AuthorityKeyIdentifier.from_issuer_public_key(signer.public_key()), critical=False)
    )
    algorithm = hashes.SHA384() if isinstance(signer.curve, ec.SECP384R1) else hashes.SHA256()
    return builder.sign(signer, algorithm, ecdsa_deterministic=True)


def _usage(is_root: bool) -> x509.KeyUsage:
    """The root signs certificates; a paper's key signs and cannot deny it (content commitment)."""
    return x509.KeyUsage(
        digital_signature=not is_root, content_commitment=not is_root, key_cert_sign=is_root, crl_sign=is_root,
        key_encipherment=False, data_encipherment=False, key_agreement=False, encipher_only=False, decipher_only=False,
    )  # fmt: skip
