"""The archive of a backup: one encrypted file that holds database, photos and keys, and a manifest of all of it.

Outside an age file (the format of age-encryption.org, version 1; any program that reads it opens ours), inside a tar
whose last member, `manifest.json`, names every other member with its size and SHA-256. It is encrypted to a public
key: the machine that makes backups cannot read them.
"""

from __future__ import annotations

import fcntl
import hashlib
import io
import json
import os
import tarfile
import threading
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO, Any, NamedTuple

import pyrage

MANIFEST = "manifest.json"
BLOCK = 1 << 20


class BadArchive(Exception):
    """The archive cannot be opened, or does not hold what its manifest says: one sentence."""


class Member(NamedTuple):
    """A file on its way into an archive: its name there, and what opens it: on the disk, or in a storage elsewhere."""

    name: str
    open: Callable[[], IO[bytes]]

    @classmethod
    def of(cls, name: str, path: Path) -> Member:
        return cls(name, lambda: path.open("rb"))


def new_identity() -> tuple[str, str]:
    """A fresh pair: the secret identity that opens archives, and the public recipient they are made for."""
    identity = pyrage.x25519.Identity.generate()
    return str(identity), str(identity.to_public())


def check_recipient(text: str) -> str:
    """`text` as a recipient. Raises ValueError."""
    try:
        return str(pyrage.x25519.Recipient.from_str(text.strip()))
    except pyrage.RecipientError as error:
        raise ValueError(f"“{text.strip()}” is no recipient of backups; expected one that begins with age1.") from error


def write(target: Path, members: Iterable[Member], facts: dict[str, Any], recipient: str) -> dict[str, Any]:
    """Write an archive for `recipient` at `target`, whole or not at all. Returns its manifest.

    `facts` join the manifest. The file appears under its name only when every byte of it is on the disk.
    """
    part = target.with_name(target.name + ".part")
    manifest: dict[str, Any] = dict(facts)

    def fill(stream: IO[bytes]) -> None:
        manifest["members"] = _pack(stream, members, facts)

    try:
        with part.open("wb") as file:
            with _pumped(fill) as stream:
                pyrage.encrypt_io(stream, file, [pyrage.x25519.Recipient.from_str(recipient)])
            file.flush()
            os.fsync(file.fileno())
        part.rename(target)
    finally:
        part.unlink(missing_ok=True)
    return manifest


def read(source: Path, identity: str, directory: Path) -> dict[str, Any]:
    """Unpack an archive into `directory`, every file held against the manifest, and return it. Raises BadArchive."""
    try:
        key = pyrage.x25519.Identity.from_str(identity.strip())
    except pyrage.IdentityError as error:
        raise BadArchive("The key file holds no key; expected a line that begins with AGE-SECRET-KEY-1.") from error
    found: dict[str, dict[str, Any]] = {}

    def empty(stream: IO[bytes]) -> None:
        found.update(_unpack(stream, directory))

    try:
        with source.open("rb") as file, _drained(empty) as stream:
            pyrage.decrypt_io(file, stream, [key])
    except (pyrage.DecryptError, tarfile.TarError, OSError, ValueError) as error:
        raise BadArchive(f"{source.name} cannot be opened with this key, or has been damaged ({error}).") from error
    return _manifest_of(directory, found, source.name)


def _manifest_of(directory: Path, found: dict[str, dict[str, Any]], name: str) -> dict[str, Any]:
    found.pop(MANIFEST, None)
    try:
        manifest: dict[str, Any] = json.loads((directory / MANIFEST).read_text(encoding="utf-8"))
        named: dict[str, dict[str, Any]] = manifest["members"]
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise BadArchive(f"{name} has no manifest: it was not made whole.") from error
    for member in sorted(named.keys() | found.keys()):
        if named.get(member) != found.get(member):
            raise BadArchive(f"In {name}, {member} is not what the manifest says.")
    return manifest


def _pack(stream: IO[bytes], members: Iterable[Member], facts: dict[str, Any]) -> dict[str, dict[str, Any]]:
    packed: dict[str, dict[str, Any]] = {}
    with tarfile.open(fileobj=stream, mode="w|", bufsize=BLOCK) as tar:
        setattr(tar, "copybufsize", BLOCK)  # noqa: B010  (documented, though the types do not know it)
        for member in members:
            with member.open() as file:
                info = _info(tar, member.name, file)
                reader = _Hashing(file)
                tar.addfile(info, reader)
            packed[member.name] = {"size": info.size, "sha256": reader.digest.hexdigest()}
        text = json.dumps(facts | {"members": packed}, ensure_ascii=False, indent=1, sort_keys=True).encode()
        info = tarfile.TarInfo(MANIFEST)
        info.size = len(text)
        tar.addfile(info, io.BytesIO(text))
    return packed


def _info(tar: tarfile.TarFile, name: str, file: IO[bytes]) -> tarfile.TarInfo:
    try:
        return tar.gettarinfo(arcname=name, fileobj=file)
    except (OSError, AttributeError):  # no file of this machine's: only its length is known
        info = tarfile.TarInfo(name)
        info.size = file.seek(0, os.SEEK_END)
        file.seek(0)
        return info


def _unpack(stream: IO[bytes], directory: Path) -> dict[str, dict[str, Any]]:
    found: dict[str, dict[str, Any]] = {}
    with tarfile.open(fileobj=stream, mode="r|", bufsize=BLOCK) as tar:
        for info in tar:
            content = tar.extractfile(info)
            target = (directory / info.name).resolve()
            if content is None or not target.is_relative_to(directory.resolve()):
                raise BadArchive(f"The archive holds {info.name}, which is no file of ours.")
            target.parent.mkdir(parents=True, exist_ok=True)
            digest = hashlib.sha256()
            with target.open("wb") as file:
                while block := content.read(BLOCK):
                    digest.update(block)
                    file.write(block)
            target.chmod(0o600)
            found[info.name] = {"size": info.size, "sha256": digest.hexdigest()}
    return found


class _Hashing(io.RawIOBase):
    """A file read once, its SHA-256 counted on the way."""

    def __init__(self, file: IO[bytes]) -> None:
        self._file, self.digest = file, hashlib.sha256()

    def read(self, size: int = -1) -> bytes:
        block = self._file.read(size)
        self.digest.update(block)
        return block


@contextmanager
def _pumped(fill: Callable[[IO[bytes]], None]) -> Iterator[IO[bytes]]:
    """A stream to read from, while another thread fills it. An error over there is raised here."""
    reading, writing = _wide_pipe()
    with os.fdopen(reading, "rb", buffering=BLOCK) as out, _beside(fill, writing, "wb"):
        yield out


@contextmanager
def _drained(empty: Callable[[IO[bytes]], None]) -> Iterator[IO[bytes]]:
    """A stream to write into, while another thread empties it. An error over there is raised here."""
    reading, writing = _wide_pipe()
    with _beside(empty, reading, "rb"), os.fdopen(writing, "wb", buffering=BLOCK) as into:
        yield into


def _wide_pipe() -> tuple[int, int]:
    """A pipe that holds a block, so that its two ends work side by side."""
    reading, writing = os.pipe()
    fcntl.fcntl(writing, fcntl.F_SETPIPE_SZ, BLOCK)
    return reading, writing


@contextmanager
def _beside(work: Callable[[IO[bytes]], None], descriptor: int, mode: str) -> Iterator[None]:
    failed: list[Exception] = []

    def run() -> None:
        try:
            with os.fdopen(descriptor, mode, buffering=BLOCK) as stream:
                work(stream)
        except Exception as error:  # noqa: BLE001  (raised again in the other thread)
            failed.append(error)

    thread = threading.Thread(target=run, daemon=True)
    thread.start()
    try:
        yield
    finally:
        thread.join()
        if failed:
            raise failed[0]
