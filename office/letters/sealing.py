"""How letters lie in the database: they hold one-time links, which nobody who reads the database alone may use."""

from __future__ import annotations

import base64
import json

from cryptography.fernet import Fernet, InvalidToken
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.kdf.hkdf import HKDF
from django.conf import settings


class CannotOpen(Exception):
    """The letter was sealed under another secret key of the office."""


def sealed(*, to: str, subject: str, text: str) -> str:
    return _box().encrypt(json.dumps([to, subject, text]).encode()).decode()


def opened(letter: str) -> tuple[str, str, str]:
    """Address, subject and text. Raises CannotOpen."""
    try:
        to, subject, text = json.loads(_box().decrypt(letter.encode()))
    except InvalidToken as error:
        raise CannotOpen from error
    return to, subject, text


def _box() -> Fernet:
    """HKDF (RFC 5869) from the office's secret key; Fernet is AES-128-CBC with HMAC-SHA-256."""
    key = HKDF(SHA256(), 32, salt=None, info=b"letters").derive(settings.SECRET_KEY.encode())
    return Fernet(base64.urlsafe_b64encode(key))
