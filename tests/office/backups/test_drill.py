"""The drill: an office is backed up while in use and put back somewhere else, and is the same office."""

from __future__ import annotations

import os
import sqlite3
import subprocess
import sys
from collections.abc import Callable
from contextlib import closing
from io import StringIO
from pathlib import Path
from typing import Any, NamedTuple

import psycopg
import pytest
from django.apps import apps
from django.conf import settings
from django.core.management import CommandError, call_command
from django.db import connection

from office import environment
from office import settings as office_settings
from office.audit import trail, triggers
from office.backups import archive, making, restoring, snapshots
from tests.surveys.makers import Stage, record_kit, register_boat

ON_SQLITE = connection.vendor == "sqlite"


@pytest.fixture
def office(cast, transactional_db, own_keys, settings, tmp_path):
    """A boat with a signed visit, a photo and a key, and a directory for it all."""
    data = tmp_path / "office"
    (data / "media").mkdir(parents=True)
    (data / "media" / "photo.jpg").write_bytes(b"a photo")
    (data / "secret_key").write_text("a secret")
    (data / "static").mkdir()
    (data / "static" / "made.css").write_text("made anew")
    settings.DATA_DIR, settings.BACKUP_DIR, settings.BACKUP_RECIPIENT = data, tmp_path / "backups", ""
    Stage(cast, register_boat(cast), record_kit(cast)).visit("signed")
    call_command("backup_key", str(tmp_path / "key"), stdout=StringIO())
    return tmp_path


def back_up() -> Path:
    call_command("backup", stdout=StringIO())
    return max(settings.BACKUP_DIR.glob("*.age"))


def restore(office: Path, made: Path, url: str, *options: str) -> subprocess.CompletedProcess[str]:
    surroundings = os.environ | {
        "DATABASE_URL": url,
        "OFFICE_DATA": str(office / "elsewhere"),
        "DJANGO_SETTINGS_MODULE": "office.settings",
    }
    command = [sys.executable, "manage.py", "restore", str(made), "--key", str(office / "key"), *options]
    return subprocess.run(command, cwd=environment.ROOT, env=surroundings, capture_output=True, text=True, check=False)


def rows(cursor: Any, table: str) -> list[Any]:
    cursor.execute(f'SELECT * FROM "{table}" ORDER BY 1')
    return list(cursor.fetchall())


TABLES = [model._meta.db_table for model in apps.get_models() if model._meta.managed]


class Elsewhere(NamedTuple):
    """An empty place for the office, on the kind of database these tests run on."""

    url: str
    connect: Callable[[], Any]
    connect_here: Callable[[], Any]  # to the tests' own office, without the framework's reading of values


@pytest.fixture
def elsewhere(office) -> Elsewhere:
    if ON_SQLITE:
        place = office / "elsewhere" / "office.sqlite3"
        ours = str(connection.settings_dict["NAME"])
        return Elsewhere(
            f"sqlite:///{place}", lambda: closing(sqlite3.connect(place)), lambda: closing(sqlite3.connect(ours))
        )
    there = connection.settings_dict
    server = f"postgres://{there['USER']}@{there['HOST']}:{there['PORT']}"
    name = f"{there['NAME']}_put_back"
    with psycopg.connect(f"{server}/postgres", autocommit=True) as main:
        main.execute(f'DROP DATABASE IF EXISTS "{name}"')
        main.execute(f'CREATE DATABASE "{name}"')
    return Elsewhere(
        f"{server}/{name}",
        lambda: closing(psycopg.connect(f"{server}/{name}")),
        lambda: closing(psycopg.connect(f"{server}/{there['NAME']}")),
    )


def test_an_office_comes_back_whole(office, elsewhere):
    made = back_up()
    done = restore(office, made, elsewhere.url)
    assert done.returncode == 0, done.stderr
    assert "Everything fits." in done.stdout
    assert (office / "elsewhere" / "media" / "photo.jpg").read_bytes() == b"a photo"
    assert (office / "elsewhere" / "secret_key").read_text() == "a secret"
    assert not (office / "elsewhere" / "static").exists()
    with elsewhere.connect() as copy, elsewhere.connect_here() as ours:
        for table in TABLES:
            mine = rows(ours.cursor(), table)
            if table == "audit_entry":  # the row about the backup itself came after the copy
                mine.pop()
            assert rows(copy.cursor(), table) == mine, table


def test_a_second_restore_loses_nothing(office, elsewhere):
    made = back_up()
    restore(office, made, elsewhere.url)
    place = office / "elsewhere" / "office.sqlite3"
    again = restore(office, made, elsewhere.url)
    if ON_SQLITE:
        assert again.returncode == 0, again.stderr
        assert len(list((office / "elsewhere" / "put-aside").glob("*/office.sqlite3"))) == 1
        assert place.is_file()
    else:
        assert again.returncode == 1
        assert "holds tables already" in again.stderr


def test_a_damaged_archive_replaces_nothing(office, elsewhere):
    made = back_up()
    whole = made.read_bytes()
    made.write_bytes(whole[:-1] + bytes([whole[-1] ^ 1]))
    refused = restore(office, made, elsewhere.url)
    assert refused.returncode == 1
    assert "Nothing was replaced." in refused.stderr
    assert not (office / "elsewhere" / "media").exists()


def test_a_register_that_does_not_fit_is_found(office, monkeypatch):
    """What `restore` asks before it replaces anything."""
    monkeypatch.setenv("DJANGO_SETTINGS_MODULE", "office.settings")
    there = connection.settings_dict
    url = f"sqlite:///{there['NAME']}"
    if not ON_SQLITE:
        url = f"postgres://{there['USER']}@{there['HOST']}:{there['PORT']}/{there['NAME']}"
    with triggers.set_aside(connection), connection.cursor() as cursor:
        cursor.execute("UPDATE surveys_reading SET value = value + 1 WHERE id = (SELECT min(id) FROM surveys_reading)")
    sound, said = restoring.verify(environment.ROOT, url, office)
    assert not sound
    assert "reading" in said
    assert "Traceback" not in said


def test_a_backup_without_a_key_is_refused(office):
    making.recipient_file().unlink()
    with pytest.raises(CommandError, match="backup_key FILE"):
        call_command("backup", stdout=StringIO())
    assert not settings.BACKUP_DIR.exists()
    assert making.last_good() is None


def test_old_archives_go_only_after_a_new_one_is_whole(office):
    directory = settings.BACKUP_DIR
    directory.mkdir()
    for day in ("2026-01-01", "2026-01-02", "2026-01-03"):
        (directory / f"{day}T000000Z.backup.age").write_bytes(b"old")
    making.make(directory, keep=2)
    assert len(list(directory.glob("*.age"))) == 2
    assert (directory / "2026-01-03T000000Z.backup.age").exists()


def test_a_full_disk_leaves_nothing_and_says_so(office, monkeypatch):
    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.fsync", full)
    with pytest.raises(CommandError, match="No space left"):
        call_command("backup", stdout=StringIO())
    assert not list(settings.BACKUP_DIR.glob("*"))
    assert making.last_good() is None


def test_a_photograph_that_goes_while_the_backup_is_made(office, monkeypatch):
    """The copy of the database may still know it: a restore of that archive would be refused."""
    photos = making._photos

    def and_one_goes() -> list[str]:
        listed = photos()
        (office / "office" / "media" / "photo.jpg").unlink()
        return listed

    monkeypatch.setattr(making, "_photos", and_one_goes)
    with pytest.raises(CommandError, match="has to be made again"):
        call_command("backup", stdout=StringIO())
    assert not list(settings.BACKUP_DIR.glob("*"))
    assert making.last_good() is None


def test_a_photograph_that_comes_while_the_backup_is_made(office, monkeypatch):
    """Its row may be in the copy of the database already, so it is packed as well."""
    copy_out = snapshots.copy_out

    def and_one_comes(*arguments: Any) -> None:
        (office / "office" / "media" / "late.jpg").write_bytes(b"late")
        copy_out(*arguments)

    monkeypatch.setattr(snapshots, "copy_out", and_one_comes)
    members = making.make(settings.BACKUP_DIR).manifest["members"]
    assert {"data/media/photo.jpg", "data/media/late.jpg"} <= members.keys()


def test_a_database_that_cannot_be_copied_leaves_nothing(office, monkeypatch):
    def refused(*_: object) -> None:
        raise snapshots.CannotCopy("The disk does not read.")

    monkeypatch.setattr(snapshots, "copy_out", refused)
    with pytest.raises(CommandError, match="does not read"):
        call_command("backup", stdout=StringIO())
    assert not list(settings.BACKUP_DIR.glob("*"))


def test_a_key_file_is_never_overwritten(office):
    before = (office / "key").read_text()
    with pytest.raises(CommandError, match="exists already"):
        call_command("backup_key", str(office / "key"), stdout=StringIO())
    assert (office / "key").read_text() == before
    assert (office / "key").stat().st_mode & 0o777 == 0o600


def test_a_database_in_use_is_seen(tmp_path):
    path = tmp_path / "one.sqlite3"
    with closing(sqlite3.connect(path)) as first:
        first.execute("PRAGMA journal_mode=WAL")
        first.execute("CREATE TABLE t (a)")
        first.commit()
        assert restoring.in_use(path)
    assert not restoring.in_use(path)
    assert not restoring.in_use(tmp_path / "none.sqlite3")


def test_the_trail_tells_of_the_backup(office):
    made = back_up()
    entry = making.last_good()
    assert entry is not None
    assert made.name in entry.after
    assert trail.head()[0] == entry.number


def test_what_a_backup_writes_is_its_owners_alone(office):
    """Whatever the machine's usual mask: the archive, its directory, and what comes out of it."""
    before = os.umask(0o022)
    try:
        made = back_up()
    finally:
        os.umask(before)
    out = office / "out"
    out.mkdir()
    archive.read(made, (office / "key").read_text().splitlines()[-1], out)
    written = [made, made.parent, office / "key", *(path for path in out.rglob("*") if path.is_file())]
    assert len(written) > 5
    assert [path.name for path in written if path.stat().st_mode & 0o077] == []


@pytest.mark.parametrize(("command", "mask"), [("serve", 0o077), ("backup", 0o077), ("derive", 0o022)])
def test_what_the_office_writes_is_its_users_alone(monkeypatch, tmp_path, command, mask):
    before = os.umask(0o022)
    try:
        monkeypatch.setattr(environment, "DATA", tmp_path / "data")
        monkeypatch.setenv("OFFICE_SECRET_KEY", "x")
        environment.prepare_settings(command)
        assert os.umask(0o022) == mask
    finally:
        os.umask(before)
    assert (tmp_path / "data").stat().st_mode & 0o777 == 0o700
    assert office_settings.FILE_UPLOAD_PERMISSIONS == 0o600
