"""How private keys lie in the database: PKCS #8 under a passphrase that is not in it.

The passphrase is OFFICE_KEY_PASSPHRASE, else the file `key_passphrase` in OFFICE_DATA, drawn once, readable by its
owner only. Whoever has a copy of the database alone cannot seal anything.
"""

from __future__ import annotations

import os
import secrets
from functools import lru_cache
from pathlib import Path

from cryptography.hazmat.primitives import serialization
from cryptography.hazmat.primitives.asymmetric import ec, ed25519
from cryptography.hazmat.primitives.serialization import BestAvailableEncryption, PrivateFormat
from django.conf import settings

from office.audit.refusals import WrongState
from office.certificates.seal.making import Private

FILE_NAME = "key_passphrase"
SHORTEST = 20  # PKCS #8 alone would not keep a shorter one from being guessed


def passphrase(*, make: bool = False) -> bytes:
    """The passphrase; with `make` its file is written where there is neither. Raises WrongState without one."""
    if settings.KEY_PASSPHRASE:
        if len(settings.KEY_PASSPHRASE) < SHORTEST:
            raise WrongState(f"OFFICE_KEY_PASSPHRASE must have {SHORTEST} characters at least.")
        return str(settings.KEY_PASSPHRASE).encode()
    path = Path(settings.DATA_DIR) / FILE_NAME
    if make and not path.exists():
        path.parent.mkdir(parents=True, exist_ok=True)
        with os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w") as file:
            file.write(secrets.token_urlsafe(48))
    try:
        text = path.read_text(encoding="utf-8").strip()
        open_to_others = path.stat().st_mode & 0o077
    except OSError:
        text = ""
        open_to_others = 0
    if not text:
        raise WrongState(
            f"The office's keys cannot be opened: there is neither OFFICE_KEY_PASSPHRASE nor the file {path}."
        )
    if open_to_others:
        raise WrongState(f"Others on this machine may read {path}; close it first: chmod 600 {path}")
    return text.encode()


def locked(private: Private) -> str:
    """PEM, encrypted under the office's passphrase."""
    encryption = BestAvailableEncryption(passphrase(make=True))
    return private.private_bytes(serialization.Encoding.PEM, PrivateFormat.PKCS8, encryption).decode()


def unlocked(pem: str) -> Private:
    """The key again. Raises WrongState with another passphrase than it was locked with."""
    return _unlocked(pem, passphrase())


@lru_cache(maxsize=16)
def _unlocked(pem: str, word: bytes) -> Private:
    try:
        private = serialization.load_pem_private_key(pem.encode(), word)
    except ValueError as error:
        raise WrongState(
            "The office's keys do not open with this passphrase; OFFICE_KEY_PASSPHRASE, or the file "
            f"{FILE_NAME} in OFFICE_DATA, must be the one they were made with."
        ) from error
    if not isinstance(private, ec.EllipticCurvePrivateKey | ed25519.Ed25519PrivateKey):
        raise WrongState("The stored key is of a kind the office does not use.")
    return private
