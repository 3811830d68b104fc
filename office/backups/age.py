"""Writing an age file a block at a time: the open format of age-encryption.org, version 1 (from memory).

A header wraps a fresh key for the recipient (X25519, RFC 7748; HKDF, RFC 5869); the content follows in chunks of 64 KiB
under ChaCha20-Poly1305 (RFC 8439), numbered, the last one marked. Reading is the library's, which opens what we write.
OpenSSL's ciphers take a third of the library's time.
"""

from __future__ import annotations

import base64
import os
from concurrent.futures import Future
from typing import IO

from cryptography.hazmat.primitives import hmac
from cryptography.hazmat.primitives.asymmetric.x25519 import X25519PrivateKey, X25519PublicKey
from cryptography.hazmat.primitives.ciphers.aead import ChaCha20Poly1305
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.kdf.hkdf import HKDF

CHUNK, TAG = 1 << 16, 16
BLOCK = 1 << 20  # a whole number of chunks
BLOCKS = 8  # being filled, or with their hashes still being counted
LETTERS = "qpzry9x8gf2tvdw0s3jn54khce6mua7l"  # of Bech32 (BIP 173)


class Writer:
    """Encrypts for `recipient` into `file`. What is to be encrypted is put into `room` and told by `took`."""

    def __init__(self, file: IO[bytes], recipient: str) -> None:
        header, key = _begin(recipient)
        file.write(header)
        self._file, self._cipher, self._chunks = file, ChaCha20Poly1305(key), 0
        self._blocks = [memoryview(bytearray(BLOCK)) for _ in range(BLOCKS)]
        self._read_by: list[list[Future[None]]] = [[] for _ in range(BLOCKS)]
        self._at, self._filled = 0, 0
        self._out = memoryview(bytearray(BLOCK + BLOCK // CHUNK * TAG))

    def room(self) -> memoryview:
        """Where more of the content goes: never empty, so it is asked for only where there is more."""
        if self._filled == BLOCK:
            self._encrypt()
            self._at, self._filled = (self._at + 1) % BLOCKS, 0
            for reader in self._read_by[self._at]:
                reader.result()
            self._read_by[self._at].clear()
        return self._blocks[self._at][self._filled :]

    def took(self, count: int, read_by: Future[None] | None = None) -> None:
        """So much of `room` has been filled; it stays as it is until `read_by` is done."""
        self._filled += count
        if read_by is not None:
            self._read_by[self._at].append(read_by)

    def put(self, content: bytes) -> None:
        left = memoryview(content)
        while left:
            room = self.room()
            count = min(len(room), len(left))
            room[:count] = left[:count]
            left = left[count:]
            self.took(count)

    def finish(self) -> None:
        """Everything has been put."""
        self._encrypt(last=True)

    def _encrypt(self, *, last: bool = False) -> None:
        block, place = self._blocks[self._at][: self._filled], 0
        for begin in range(0, max(len(block), 1), CHUNK):
            chunk = block[begin : begin + CHUNK]
            end = last and begin + CHUNK >= len(block)
            nonce = self._chunks.to_bytes(11) + bytes([end])
            place += self._cipher.encrypt_into(nonce, chunk, None, self._out[place : place + len(chunk) + TAG])
            self._chunks += 1
        self._file.write(self._out[:place])


def _begin(recipient: str) -> tuple[bytes, bytes]:
    """Header and nonce of a new file, and the key of its content."""
    theirs, ours, file_key = _point(recipient), X25519PrivateKey.generate(), os.urandom(16)
    share = ours.public_key().public_bytes_raw()
    shared = ours.exchange(X25519PublicKey.from_public_bytes(theirs))
    wrapping = ChaCha20Poly1305(_derived(shared, share + theirs, b"age-encryption.org/v1/X25519"))
    wrapped = wrapping.encrypt(bytes(12), file_key, None)
    head = b"age-encryption.org/v1\n-> X25519 %s\n%s\n---" % (_base64(share), _base64(wrapped))
    sealed = hmac.HMAC(_derived(file_key, b"", b"header"), SHA256())
    sealed.update(head)
    nonce = os.urandom(16)
    return b"%s %s\n%s" % (head, _base64(sealed.finalize()), nonce), _derived(file_key, nonce, b"payload")


def _derived(key: bytes, salt: bytes, info: bytes) -> bytes:
    return HKDF(SHA256(), 32, salt, info).derive(key)


def _base64(content: bytes) -> bytes:
    return base64.b64encode(content).rstrip(b"=")


def _point(recipient: str) -> bytes:
    """The public key in a recipient that the library has checked: letters of five bits, the last six a check sum."""
    number = 0
    letters = recipient.lower().removeprefix("age1")[:-6]
    for letter in letters:
        number = number << 5 | LETTERS.index(letter)
    return (number >> (len(letters) * 5 - 256)).to_bytes(32)
