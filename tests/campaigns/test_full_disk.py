"""The office's disk is full, then read-only: a page says so, nothing acknowledged is lost and nothing is half there.

On SQLite everything lies on that disk, on PostgreSQL the photographs and the backups.
"""

from __future__ import annotations

import io
import secrets
import sqlite3
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

import pytest
from django.db import connection
from django.urls import reverse
from django.utils import timezone
from PIL import Image

from tests.campaigns.client import Answer, Browser, session_of
from tests.campaigns.disks import OF_ROOT, Disk, small_disk
from tests.campaigns.served import Office, OnSqlite, served
from tests.cast import Cast
from tests.surveys.makers import SHEET, Stage, record_kit, register_boat

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.usefixtures("own_keys")]
ON_SQLITE = connection.vendor == "sqlite"
SAYS_SO = "Nothing can be stored at the moment"


@dataclass(frozen=True)
class Desk:
    """The visits at hand and the sessions of those who work at them."""

    draft: str
    empty: str
    accepted: str
    sessions: dict[str, str]


@pytest.fixture
def desk(cast: Cast) -> Desk:
    kit = record_kit(cast)
    first, second = (Stage(cast, register_boat(cast, name, f"TRN {name[-1]}"), kit) for name in ("Tern 1", "Tern 2"))
    sessions = {part: session_of(getattr(cast, part)) for part in ("measurer", "certifier")}
    return Desk(first.visit("draft").key, second.visit("draft").key, second.visit("accepted").key, sessions)


def noise() -> bytes:
    """A photograph that no encoder makes small."""
    size = (640, 480)
    made = Image.frombytes("RGB", size, secrets.token_bytes(3 * size[0] * size[1]))
    file = io.BytesIO()
    made.save(file, "JPEG", quality=90)
    return file.getvalue()


def deeds(office: Office, desk: Desk) -> dict[str, Callable[[], Answer]]:
    """Each may be sent again: it bears its token, or is refused the second time."""
    measurer = office.browser(desk.sessions["measurer"])
    certifier: Browser = office.browser(desk.sessions["certifier"])
    entry = {"token": secrets.token_urlsafe(18), "kind": "take", "row": "foot_distance-main-one", "text": "4123"}
    photo, token = noise(), secrets.token_urlsafe(18)
    sheet = SHEET.read_bytes().replace(b"SKE 214", b"TRN 2").replace(b"Quiet Margin", b"Tern 2")
    address = {name: reverse(f"surveys:{name}", args=[desk.draft]) for name in ("dock_send", "dock_photo")}
    issue, today = reverse("certificates:issue", args=[desk.accepted]), timezone.localdate().isoformat()
    return {
        "reading": lambda: measurer.post_json(address["dock_send"], {"device": "phone", "entries": [entry]}),
        "photograph": lambda: measurer.upload(address["dock_photo"], "photo", "p.jpg", photo, token=token),
        "log sheet": lambda: measurer.upload(reverse("surveys:upload", args=[desk.empty]), "file", "s.csv", sheet),
        "issue": lambda: certifier.post(issue, valid_from=today, replacing="", reason="", confirmed="on"),
    }


def kept(office: Office) -> dict[str, int]:
    tables = ("audit_entry", "surveys_reading", "surveys_photo", "certificates_certificate", "certificates_document")
    return {one: office.database.rows(f"SELECT COUNT(*) FROM {one}")[0][0] for one in tables}


def files(office: Office) -> int:
    return sum(1 for one in (office.directory / "media").rglob("*.jpg"))


def room_in_the_journal_is_given_back(office: Office) -> None:
    if isinstance(office.database, OnSqlite):
        with closing(sqlite3.connect(office.database.path)) as opened:
            opened.execute("PRAGMA wal_checkpoint(TRUNCATE)")


def test_a_full_disk(desk: Desk, tmp_path: Path) -> None:
    with small_disk(tmp_path / "disk") as disk, served(tmp_path / "disk", workdir=tmp_path) as office:
        disk.programs = [office.server.pid]
        assert office.manage("backup_key", str(tmp_path / "key")).returncode == 0
        todo = deeds(office, desk)
        room_in_the_journal_is_given_back(office)
        before = kept(office)
        disk.fill()
        refused = {what for what in todo if nothing_is_stored(office, todo[what], before)}
        assert refused >= ({"photograph", "log sheet", "issue"} if ON_SQLITE else {"photograph"})
        assert files(office) == 0
        assert office.browser(desk.sessions["measurer"]).get(reverse("surveys:visit", args=[desk.draft])).status == 200
        no_backup(office, disk)
        disk.free()
        for what, send in todo.items():
            answer = send()
            assert answer.done or (what not in refused and answer.refused), (what, answer.status, answer.text[:500])
        after = kept(office)
        assert after["certificates_document"] == 2 * after["certificates_certificate"] == 2
        assert (after["surveys_photo"], files(office)) == (1, 2)
        assert office.manage("backup").returncode == 0
        verified = office.manage("verify_register")
        assert verified.returncode == 0, verified.stdout[-1500:]


def nothing_is_stored(office: Office, send: Callable[[], Answer], before: dict[str, int]) -> bool:
    """Whether it was refused with the page that says why; what was acknowledged is there."""
    answer = send()
    now = kept(office)
    if answer.done and '"refused"' not in answer.text:
        assert now["audit_entry"] > before["audit_entry"]
        before.update(now)
        return False
    assert answer.status == 503, answer.text[:600]
    assert SAYS_SO in answer.text
    assert now == before
    return True


def no_backup(office: Office, disk: Disk) -> None:
    if not OF_ROOT:  # a program of its own, which nobody bounds
        return
    done = office.manage("backup")
    assert done.returncode == 1, done.stdout
    assert "No space left" in done.stderr or "full" in done.stderr, done.stderr
    assert "Traceback" not in done.stderr
    assert not [one for one in (disk.directory / "backups").rglob("*") if one.is_file()]


def test_a_disk_that_takes_nothing(desk: Desk, tmp_path: Path) -> None:
    """Read-only from the server's start on, as after a fault of the disk."""
    with small_disk(tmp_path / "disk") as disk, served(tmp_path / "disk", workdir=tmp_path) as office:
        todo = deeds(office, desk)
        before = kept(office)
        office.server.stop()
        disk.remount("ro")
        office.server.start()
        office.wait(answers={200, 503})
        if not OF_ROOT:
            disk.programs = [office.server.pid]
            disk.fill()
        answers = {what: send() for what, send in todo.items()}
        for what in todo if ON_SQLITE else ("photograph",):
            assert answers[what].status == 503, (what, answers[what].status, answers[what].text[:500])
            assert SAYS_SO in answers[what].text
        office.server.stop()
        disk.remount("rw")
        if ON_SQLITE:
            assert kept(office) == before
        office.server.start()
        office.wait()
        assert all(send().done for what, send in todo.items() if answers[what].status == 503)
        assert office.manage("verify_register").returncode == 0
