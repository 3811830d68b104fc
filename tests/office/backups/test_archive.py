"""The archive: what goes in comes out, and any damage is found."""

from __future__ import annotations

import random
import tarfile
from pathlib import Path

import pyrage
import pytest

from office.backups import archive
from office.backups.archive import BadArchive, Member

IDENTITY, RECIPIENT = archive.new_identity()


@pytest.fixture
def content(tmp_path: Path) -> list[Member]:
    members = []
    for number, size in enumerate((0, 1, 5000, 3_000_001)):
        path = tmp_path / f"file{number}"
        path.write_bytes(random.Random(number).randbytes(size))
        members.append(Member.of(f"data/photos/{number}", path))
    return members


def made(tmp_path: Path, content: list[Member]) -> Path:
    target = tmp_path / "one.backup.age"
    archive.write(target, content, {"made_at": "2026-05-04"}, RECIPIENT)
    return target


def test_what_goes_in_comes_out(tmp_path, content):
    target = made(tmp_path, content)
    manifest = archive.read(target, IDENTITY, tmp_path / "out")
    assert manifest["made_at"] == "2026-05-04"
    assert set(manifest["members"]) == {member.name for member in content}
    for member in content:
        with member.open() as file:
            assert (tmp_path / "out" / member.name).read_bytes() == file.read()


def test_the_format_is_the_open_one(tmp_path, content):
    """What we write any program for age files and tar opens."""
    plain = tmp_path / "plain.tar"
    pyrage.decrypt_file(str(made(tmp_path, content)), str(plain), [pyrage.x25519.Identity.from_str(IDENTITY)])
    with tarfile.open(plain) as tar:
        assert [*tar.getnames()] == [*(member.name for member in content), archive.MANIFEST]


def test_a_damaged_archive_is_refused(tmp_path, content):
    target = made(tmp_path, content)
    whole = target.read_bytes()
    dice = random.Random(5)
    for turn in range(40):
        place = dice.randrange(len(whole))
        target.write_bytes(whole[:place] + bytes([whole[place] ^ 1 << dice.randrange(8)]) + whole[place + 1 :])
        with pytest.raises(BadArchive, match=r"damaged|manifest"):
            archive.read(target, IDENTITY, tmp_path / f"out{turn}")


@pytest.mark.parametrize("share", [0.0, 0.3, 0.9, 0.9999])
def test_an_archive_cut_short_is_refused(tmp_path, content, share):
    target = made(tmp_path, content)
    whole = target.read_bytes()
    target.write_bytes(whole[: int(len(whole) * share)])
    with pytest.raises(BadArchive):
        archive.read(target, IDENTITY, tmp_path / "out")


def test_another_key_does_not_open_it(tmp_path, content):
    with pytest.raises(BadArchive, match="cannot be opened with this key"):
        archive.read(made(tmp_path, content), archive.new_identity()[0], tmp_path / "out")


def test_a_key_that_is_none(tmp_path, content):
    with pytest.raises(BadArchive, match="AGE-SECRET-KEY-1"):
        archive.read(made(tmp_path, content), "hello", tmp_path / "out")


def test_a_file_that_cannot_be_read_leaves_no_archive(tmp_path, content):
    with pytest.raises(FileNotFoundError):
        made(tmp_path, [*content, Member.of("data/gone", tmp_path / "gone")])
    assert not list(tmp_path.glob("*.age*"))


def test_names_that_lead_outside_are_refused(tmp_path, content):
    target = made(tmp_path, [Member("../outside", content[1].open)])
    with pytest.raises(BadArchive, match="no file of ours"):
        archive.read(target, IDENTITY, tmp_path / "deep" / "out")
    assert not (tmp_path / "deep" / "outside").exists()


def test_a_recipient_is_checked():
    assert archive.check_recipient(f" {RECIPIENT}\n") == RECIPIENT
    with pytest.raises(ValueError, match="begins with age1"):
        archive.check_recipient(IDENTITY)
