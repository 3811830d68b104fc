"""The storage as a whole: a trial of it, and every file that is kept there."""

from __future__ import annotations

import secrets
from collections.abc import Iterator

from django.core.files.base import ContentFile
from django.core.files.storage import Storage, default_storage

from office.storage.address import StorageAway

TRIALS = "health"  # their directory


def try_out() -> None:
    """Writes, reads and removes a few bytes. Raises OSError with one sentence."""
    content = secrets.token_bytes(16)
    name = default_storage.save(f"{TRIALS}/{secrets.token_hex(8)}", ContentFile(content))
    try:
        with default_storage.open(name) as file:
            same = file.read() == content
    finally:
        default_storage.delete(name)
    if not same:
        raise StorageAway("The storage of photographs does not give back what it took.")


def names(storage: Storage, directory: str = "") -> Iterator[str]:
    """Every file that is kept, trials left out, in the order of names."""
    directories, files = storage.listdir(directory)
    for name in sorted(files):
        yield f"{directory}/{name}" if directory else name
    for name in sorted(directories):
        if directory or name != TRIALS:
            yield from names(storage, f"{directory}/{name}" if directory else name)
