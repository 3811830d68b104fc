"""What a certificate states, as a file of its own: the snapshot with its Ed25519 signature, in one JSON document.

    {"certificate": {...}, "format": "rig-certificate-signed-1", "signature": {"algorithm": "Ed25519", "key": "...",
     "value": "..."}}

An amendment's has "amendment" in the place of "certificate" and the format "rig-amendment-signed-1".

Signed are the bytes of the snapshot's canonical form (RFC 8785), so any Ed25519 tool can check them. The file is in
canonical form itself: whatever differs by a byte is not the file that the office gave out.
"""

from __future__ import annotations

import base64
import json
from dataclasses import dataclass
from typing import Any

import rfc8785
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey

FORMAT = "rig-certificate-signed-1"
CERTIFICATE, AMENDMENT = "certificate", "amendment"
FORMATS = {CERTIFICATE: FORMAT, AMENDMENT: "rig-amendment-signed-1"}
ALGORITHM = "Ed25519"


class NoStatementFile(ValueError):
    """The bytes are not such a file; the text is one sentence."""


@dataclass(frozen=True, slots=True)
class SignedSnapshot:
    what: str  # certificate | amendment, as the file calls it
    text: str  # canonical form of the snapshot
    document: dict[str, Any]
    key: str
    signature: bytes

    def holds(self, public: Ed25519PublicKey) -> bool:
        try:
            public.verify(self.signature, self.text.encode())
        except InvalidSignature:
            return False
        return True


def sign(text: str, private: Ed25519PrivateKey) -> str:
    """The signature of a snapshot's canonical text, base64url without padding."""
    return encoded(private.sign(text.encode()))


def signature_of(key: str, value: str) -> dict[str, str]:
    return {"algorithm": ALGORITHM, "key": key, "value": value}


def signature_bytes(key: str, value: str) -> bytes:
    """The small file that travels in the PDF beside the snapshot."""
    return rfc8785.dumps(signature_of(key, value))


def write(document: dict[str, Any], key: str, value: str, what: str = CERTIFICATE) -> bytes:
    whole: dict[str, Any] = {what: document, "format": FORMATS[what], "signature": signature_of(key, value)}
    return rfc8785.dumps(whole)


def read(content: bytes) -> SignedSnapshot:
    """The parts of such a file. Raises NoStatementFile."""
    document = parsed(content, "The file")
    for what, form in FORMATS.items():
        if document.get("format") == form and set(document) == {what, "format", "signature"}:
            return put_together(document[what], document["signature"], what)
    raise NoStatementFile(f"It is JSON, but no certificate in the form {FORMAT} and no amendment.")


def put_together(stated: object, signature: object, what: str = CERTIFICATE) -> SignedSnapshot:
    if not isinstance(stated, dict) or not isinstance(signature, dict):
        raise NoStatementFile(f"{what.capitalize()} and signature are no JSON objects.")
    if set(signature) != {"algorithm", "key", "value"} or signature["algorithm"] != ALGORITHM:
        raise NoStatementFile(f"Its signature is not one by {ALGORITHM}.")
    try:
        value = decoded(str(signature["value"]))
        text = rfc8785.dumps(stated).decode()
    except (ValueError, rfc8785.CanonicalizationError) as error:
        raise NoStatementFile("Its signature, or what was signed, is not in the form the office writes.") from error
    return SignedSnapshot(what, text, stated, str(signature["key"]), value)


def parsed(content: bytes, what: str) -> dict[str, Any]:
    """A JSON object in canonical form, byte for byte. Raises NoStatementFile."""
    try:
        document = json.loads(content)
        canonical = rfc8785.dumps(document)
    except (ValueError, RecursionError, rfc8785.CanonicalizationError) as error:
        raise NoStatementFile(f"{what} is not JSON as the office writes it.") from error
    if not isinstance(document, dict):
        raise NoStatementFile(f"{what} holds no JSON object.")
    if canonical != content:
        raise NoStatementFile(f"{what} was written again by something else: it is not the office's, byte for byte.")
    return document


def encoded(content: bytes) -> str:
    return base64.urlsafe_b64encode(content).rstrip(b"=").decode()


def decoded(text: str) -> bytes:
    """ValueError for what `encoded` never writes, unused bits at the end included."""
    content = base64.b64decode(text + "=" * (-len(text) % 4), altchars=b"-_", validate=True)
    if encoded(content) != text:
        raise ValueError("not in its shortest form")
    return content
