"""Second factors for the people of the tests, made without a browser; the codes by RFC 6238, worked out here anew."""

from __future__ import annotations

import base64
import hashlib
import hmac
import json
import secrets
import time

from allauth.mfa.models import Authenticator
from allauth.mfa.recovery_codes.internal.auth import RecoveryCodes
from allauth.mfa.totp.internal.auth import TOTP
from cryptography.hazmat.primitives.asymmetric import ec
from fido2.cose import ES256
from fido2.webauthn import AttestationObject, AttestedCredentialData, AuthenticatorData

from office.people.models import Person

SECRET = base64.b32encode(b"12345678901234567890").decode()  # the key of RFC 6238's appendix B
HOST = "localhost"


def code_at(moment: float, secret: str = SECRET, digits: int = 6) -> str:
    """RFC 6238 with HMAC-SHA-1 and steps of 30 s: the truncation of RFC 4226, section 5.3 (from memory)."""
    digest = hmac.new(base64.b32decode(secret), int(moment // 30).to_bytes(8, "big"), hashlib.sha1).digest()
    start = digest[-1] & 15
    number = int.from_bytes(digest[start : start + 4], "big") & 0x7FFFFFFF
    return f"{number % 10**digits:0{digits}}"


def code_now(steps_ahead: int = 0) -> str:
    return code_at(time.time() + 30 * steps_ahead)


def give_app(person: Person) -> Authenticator:
    app: Authenticator = TOTP.activate(person, SECRET).instance
    return app


def give_second_factors(person: Person) -> Authenticator:
    """An app, recovery codes and a passkey; the passkey is returned."""
    give_app(person)
    RecoveryCodes.activate(person)
    return give_passkey(person)


def give_passkey(person: Person) -> Authenticator:
    """A passkey as the browser would have registered it, its private half thrown away."""
    made = AttestedCredentialData.create(
        bytes(16),
        secrets.token_bytes(16),
        ES256.from_cryptography_key(ec.generate_private_key(ec.SECP256R1()).public_key()),
    )
    flags = AuthenticatorData.FLAG.UP | AuthenticatorData.FLAG.UV | AuthenticatorData.FLAG.AT
    data = AuthenticatorData.create(hashlib.sha256(HOST.encode()).digest(), flags, 0, bytes(made))
    client = {"type": "webauthn.create", "challenge": "AAAA", "origin": f"http://{HOST}"}
    credential = {
        "id": _web(made.credential_id),
        "rawId": _web(made.credential_id),
        "type": "public-key",
        "response": {
            "clientDataJSON": _web(json.dumps(client).encode()),
            "attestationObject": _web(bytes(AttestationObject.create("none", data, {}))),
        },
        "clientExtensionResults": {},
    }
    stored = {"name": "A key", "credential": credential}
    passkey: Authenticator = Authenticator.objects.create(user=person, type=Authenticator.Type.WEBAUTHN, data=stored)
    return passkey


def _web(content: bytes) -> str:
    return base64.urlsafe_b64encode(content).decode().rstrip("=")
