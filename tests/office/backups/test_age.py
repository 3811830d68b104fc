"""What we write is an age file: the library, another hand's, opens it, and finds what was changed in it."""

from __future__ import annotations

import io
import random

import pyrage
import pytest

from office.backups import age

IDENTITY = pyrage.x25519.Identity.generate()


def written(content: bytes, recipient: str = str(IDENTITY.to_public())) -> bytes:
    file = io.BytesIO()
    writer = age.Writer(file, recipient)
    writer.put(content)
    writer.finish()
    return file.getvalue()


@pytest.mark.parametrize(
    "size",
    [0, 1, age.CHUNK - 1, age.CHUNK, age.CHUNK + 1, age.BLOCK - 1, age.BLOCK, age.BLOCK + 1, 9 * age.BLOCK + 7],
)
def test_the_library_opens_it(size):
    content = random.Random(size).randbytes(size)
    assert pyrage.decrypt(written(content), [IDENTITY]) == content


def test_any_recipients_letters_are_read():
    for _ in range(50):
        identity = pyrage.x25519.Identity.generate()
        assert pyrage.decrypt(written(b"content", str(identity.to_public())), [identity]) == b"content"


def test_no_two_files_are_alike():
    heads = {written(b"")[:200] for _ in range(20)}
    assert len(heads) == 20


def test_chunks_left_out_or_exchanged_are_found():
    whole = written(bytes(3 * age.CHUNK))
    step = age.CHUNK + age.TAG
    first = len(whole) - 3 * step
    exchanged = whole[:first] + whole[first + step : first + 2 * step] + whole[first : first + step] + whole[-step:]
    for changed in (whole[:-step], whole[:first] + whole[first + step :], exchanged, whole + b"x"):
        with pytest.raises(pyrage.DecryptError):
            pyrage.decrypt(changed, [IDENTITY])


def test_a_block_waits_for_who_reads_it():
    """It is filled anew only when the hash of it has been counted."""
    asked: list[str] = []

    class Slow:
        def result(self) -> None:
            asked.append("waited for")

    writer = age.Writer(io.BytesIO(), str(IDENTITY.to_public()))
    writer.took(len(writer.room()), Slow())  # type: ignore[arg-type]
    writer.put(bytes((age.BLOCKS - 1) * age.BLOCK))
    assert asked == []
    writer.put(b"x")
    assert asked == ["waited for"]
