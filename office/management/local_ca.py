"""A certificate authority of the office's own, for the names of its server only, and the server's certificate by it.

A phone keeps the dock page through a dead network only where it came by https, and on an office's own network no public
authority vouches for the server. The authority's key could vouch for these names towards everybody who trusts it, so:
it is bound to them (name constraints, RFC 5280, 4.2.1.10), to servers (extended key usage) and to a number of years.
Formats: RFC 5280 (from memory).
"""

from __future__ import annotations

import datetime as dt
import ipaddress
import os
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

CA_DAYS = 5 * 365
# Phones refuse a server's certificate that is valid for longer than 825 days (Apple's published bound, from memory).
SERVER_DAYS = 397
ALWAYS = ("localhost", "127.0.0.1")  # so that both kinds of name are bound, whichever are asked for
CA_KEY, CA_CERTIFICATE, CA_FOR_PHONES = "ca.key", "ca.pem", "ca.cer"
SERVER_KEY, SERVER_CERTIFICATE = "server.key", "server.pem"
_LABEL = re.compile(r"(?!-)[a-z0-9-]{1,63}(?<!-)", re.ASCII)

Address = ipaddress.IPv4Address | ipaddress.IPv6Address


class NotPossible(Exception):
    """One sentence that says why not, and what to do."""


@dataclass(frozen=True, slots=True)
class Authority:
    """The office's authority: its certificate and the key that signs."""

    certificate: x509.Certificate
    key: ec.EllipticCurvePrivateKey

    @property
    def names(self) -> list[str]:
        """What it may vouch for."""
        bounds = self.certificate.extensions.get_extension_for_class(x509.NameConstraints).value
        return [_bound_text(one) for one in bounds.permitted_subtrees or []]


def names_of(given: Sequence[str]) -> list[str]:
    """The names and addresses, tidy and each once, with those every server has. Raises NotPossible."""
    tidy = [_name(one.strip().lower().rstrip(".")) for one in given if one.strip()]
    return list(dict.fromkeys([*tidy, *ALWAYS]))


def make_authority(directory: Path, names: Sequence[str], passphrase: str = "") -> Authority:
    """Make the authority and keep it in the directory, its key readable by its owner alone."""
    directory.mkdir(parents=True, exist_ok=True, mode=0o700)
    key, today = ec.generate_private_key(ec.SECP256R1()), _now()
    name = _subject(f"Office authority of {today:%Y-%m-%d} for {names[0]}")
    permitted = [_general_name(one, as_bound=True) for one in names]
    certificate = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(today - dt.timedelta(hours=1))
        .not_valid_after(today + dt.timedelta(days=CA_DAYS))
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(_usage(signs_certificates=True), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(x509.NameConstraints(permitted, None), critical=True)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
        .sign(key, hashes.SHA256())
    )
    _write_key(directory / CA_KEY, key, passphrase)
    (directory / CA_CERTIFICATE).write_bytes(certificate.public_bytes(serialization.Encoding.PEM))
    (directory / CA_FOR_PHONES).write_bytes(certificate.public_bytes(serialization.Encoding.DER))
    return Authority(certificate, key)


def load_authority(directory: Path, passphrase: str = "") -> Authority | None:
    """The authority in the directory; None where there is none yet. Raises NotPossible where it cannot be used."""
    if not (directory / CA_CERTIFICATE).exists():
        return None
    certificate = x509.load_pem_x509_certificate((directory / CA_CERTIFICATE).read_bytes())
    if not (directory / CA_KEY).exists():
        raise NotPossible(f"{directory / CA_KEY} is not there: bring it back to renew the server's certificate.")
    try:
        key = serialization.load_pem_private_key((directory / CA_KEY).read_bytes(), passphrase.encode() or None)
    except (ValueError, TypeError):
        raise NotPossible(f"{directory / CA_KEY} cannot be read with this passphrase (OFFICE_CA_PASSPHRASE).") from None
    if not isinstance(key, ec.EllipticCurvePrivateKey) or key.public_key() != certificate.public_key():
        raise NotPossible(f"{directory / CA_KEY} is not the key of {directory / CA_CERTIFICATE}.")
    return Authority(certificate, key)


def make_server_certificate(directory: Path, authority: Authority, names: Sequence[str]) -> x509.Certificate:
    """A new key and certificate for the server, each time; devices that trust the authority notice nothing."""
    if unbound := [one for one in names if one not in authority.names]:
        raise NotPossible(
            f"This authority may not vouch for {', '.join(unbound)}; it is bound to {', '.join(authority.names)}. "
            "For other names make another one: --directory DIR, and let the devices trust that."
        )
    key, today = ec.generate_private_key(ec.SECP256R1()), _now()
    until = min(today + dt.timedelta(days=SERVER_DAYS), authority.certificate.not_valid_after_utc)
    if until <= today:
        raise NotPossible("The authority itself has run out. Make a new one: --directory DIR.")
    certificate = (
        x509.CertificateBuilder()
        .subject_name(_subject(names[0]))
        .issuer_name(authority.certificate.subject)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(today - dt.timedelta(hours=1))
        .not_valid_after(until)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(_usage(signs_certificates=False), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(x509.SubjectAlternativeName([_general_name(one) for one in names]), critical=False)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
        .add_extension(
            x509.AuthorityKeyIdentifier.from_issuer_public_key(authority.key.public_key()),
            critical=False,
        )
        .sign(authority.key, hashes.SHA256())
    )
    _write_key(directory / SERVER_KEY, key)
    chain = (certificate, authority.certificate)
    (directory / SERVER_CERTIFICATE).write_bytes(
        b"".join(one.public_bytes(serialization.Encoding.PEM) for one in chain)
    )
    return certificate


def certified_names(certificate: x509.Certificate) -> list[str]:
    """The names and addresses a server's certificate is for."""
    try:
        alternatives = certificate.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    except x509.ExtensionNotFound:
        return []
    return [str(one.value) for one in alternatives if isinstance(one, x509.DNSName | x509.IPAddress)]


def fingerprint(certificate: x509.Certificate) -> str:
    """SHA-256, as phones and desktops show it."""
    return certificate.fingerprint(hashes.SHA256()).hex(":").upper()


def _subject(name: str) -> x509.Name:
    return x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, name[:64])])


def _name(text: str) -> str:
    if (address := _address(text)) is not None:
        return str(address)
    if len(text) > 253 or not all(_LABEL.fullmatch(label) for label in text.split(".")):
        raise NotPossible(f"Name: found {text!r}, expected a host name such as office.local or an address.")
    return text


def _address(text: str) -> Address | None:
    try:
        return ipaddress.ip_address(text)
    except ValueError:
        return None


def _general_name(name: str, *, as_bound: bool = False) -> x509.GeneralName:
    address = _address(name)
    if address is None:
        return x509.DNSName(name)
    return x509.IPAddress(ipaddress.ip_network(name) if as_bound else address)


def _bound_text(bound: x509.GeneralName) -> str:
    value = bound.value
    return str(value.network_address) if hasattr(value, "network_address") else str(value)


def _usage(*, signs_certificates: bool) -> x509.KeyUsage:
    return x509.KeyUsage(
        digital_signature=not signs_certificates, key_cert_sign=signs_certificates, crl_sign=signs_certificates,
        content_commitment=False, key_encipherment=False, data_encipherment=False, key_agreement=False,
        encipher_only=False, decipher_only=False,
    )  # fmt: skip


def _write_key(path: Path, key: ec.EllipticCurvePrivateKey, passphrase: str = "") -> None:
    """The key as PKCS #8, never for a moment readable by others."""
    locked = serialization.BestAvailableEncryption(passphrase.encode()) if passphrase else serialization.NoEncryption()
    content = key.private_bytes(serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, locked)
    path.unlink(missing_ok=True)
    with os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as file:
        file.write(content)


def _now() -> dt.datetime:
    return dt.datetime.now(dt.UTC).replace(microsecond=0)
