"""The archive of a backup: one encrypted file that holds database, photos and keys, and a manifest of all of it.

Outside an age file (the format of age-encryption.org, version 1; any program that reads it opens ours), inside a tar
whose last member, `manifest.json`, names every other member with its size and SHA-256. It is encrypted to a public
key: the machine that makes backups cannot read them.
"""

from __future__ import annotations

import contextlib
import fcntl
import hashlib
import io
import json
import os
import tarfile
import threading
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from pathlib import Path
from typing import IO, Any, NamedTuple

import pyrage

from office.backups import age

MANIFEST = "manifest.json"
BLOCK = 1 << 20
Source = io.RawIOBase | io.BufferedIOBase


class BadArchive(Exception):
    """The archive cannot be opened, or does not hold what its manifest says: one sentence."""


class Member(NamedTuple):
    """A file on its way into an archive: its name there, and what opens it: on the disk, or in a storage elsewhere."""

    name: str
    open: Callable[[], Source]

    @classmethod
    def of(cls, name: str, path: Path) -> Member:
        return cls(name, lambda: path.open("rb", buffering=0))  # read in blocks of our own


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


def _private(path: str, flags: int) -> int:
    """Opens a file that is its owner's alone from its first byte on."""
    return os.open(path, flags, 0o600)


def write(target: Path, members: Iterable[Member], facts: dict[str, Any], recipient: str) -> dict[str, Any]:
    """Write an archive for `recipient` at `target`, whole or not at all. Returns its manifest.

    `facts` join the manifest. The file appears under its name only when every byte of it is on the disk.
    """
    part = target.with_name(target.name + ".part")
    to = check_recipient(recipient)
    try:
        with open(part, "wb", opener=_private) as file:
            with _onto_the_disk(file):
                packed = _pack(age.Writer(file, to), members, facts)
            file.flush()
            os.fsync(file.fileno())
        part.rename(target)
    finally:
        part.unlink(missing_ok=True)
    return facts | {"members": packed}


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


def _pack(into: age.Writer, members: Iterable[Member], facts: dict[str, Any]) -> dict[str, dict[str, Any]]:
    """Writes the tar, each file read once, the manifest last; what the manifest says of each.

    Another thread counts the hashes meanwhile: it needs no lock of the interpreter for that.
    """
    packed: dict[str, dict[str, Any]] = {}
    with ThreadPoolExecutor(1) as beside:
        for member in members:
            with member.open() as file:
                info = _about(member.name, file)
                into.put(info.tobuf(tarfile.PAX_FORMAT))
                digest = hashlib.sha256()
                _pour(file, info.size, into, digest, beside)
                into.put(bytes(-info.size % tarfile.BLOCKSIZE))
            packed[member.name] = {"size": info.size, "sha256": beside.submit(digest.hexdigest).result()}
    text = json.dumps(facts | {"members": packed}, ensure_ascii=False, indent=1, sort_keys=True).encode()
    info = tarfile.TarInfo(MANIFEST)
    info.size = len(text)
    into.put(info.tobuf(tarfile.PAX_FORMAT) + text + bytes(-len(text) % tarfile.BLOCKSIZE))
    into.put(bytes(2 * tarfile.BLOCKSIZE))
    into.finish()
    return packed


def _pour(file: Source, size: int, into: age.Writer, digest: hashlib._Hash, beside: ThreadPoolExecutor) -> None:
    """The first `size` bytes: a file may grow meanwhile. OSError if it became shorter."""
    left = size
    while left:
        room = into.room()[:left]
        count = file.readinto(room)
        if not count:
            raise OSError("A file became shorter while it was read.")
        into.took(count, beside.submit(digest.update, room[:count]))
        left -= count


def _about(name: str, file: Source) -> tarfile.TarInfo:
    """Its size, and for a file of this machine's when it was written and who may read it."""
    info = tarfile.TarInfo(name)
    try:
        stat = os.fstat(file.fileno())
    except (OSError, AttributeError):  # from a storage elsewhere: only its length is known
        info.size = file.seek(0, os.SEEK_END)
        file.seek(0)
        return info
    info.size, info.mtime, info.mode = stat.st_size, int(stat.st_mtime), stat.st_mode & 0o777
    return info


@contextmanager
def _onto_the_disk(file: IO[bytes]) -> Iterator[None]:
    """Inside, what is written goes on to the disk at once, instead of all of it at the end."""
    ended = threading.Event()

    def push() -> None:
        while not ended.wait(0.05):
            with contextlib.suppress(OSError):  # told where the file is closed
                os.fdatasync(file.fileno())

    thread = threading.Thread(target=push, daemon=True)
    thread.start()
    try:
        yield
    finally:
        ended.set()
        thread.join()


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
            with open(target, "wb", opener=_private) as file:
                while block := content.read(BLOCK):
                    digest.update(block)
                    file.write(block)
            found[info.name] = {"size": info.size, "sha256": digest.hexdigest()}
    return found


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
