"""The office's keys: made once, kept encrypted, rotated without breaking what they sealed, all of it in the trail."""

from __future__ import annotations

import datetime as dt
import io
import json
from pathlib import Path
from typing import Any
from unittest.mock import patch

import pytest
from cryptography.hazmat.primitives import serialization
from django.core.management import CommandError, call_command
from django.utils import timezone

from office.audit.models import Entry
from office.audit.refusals import WrongState
from office.certificates import actions as certificate_actions
from office.certificates.models import Certificate, Document, OfficeKey
from office.certificates.seal import actions, checking, keyring, passphrase, published, sealing
from office.certificates.verification import seals


def run(*arguments: str) -> str:
    out = io.StringIO()
    call_command("office_keys", *arguments, stdout=out)
    return out.getvalue()


def test_the_command_makes_them_once(no_keys: None):
    assert run("list").strip() == keyring.NO_KEYS
    assert len(run("make", "--reason", "A new office.").splitlines()) == 3
    rows = {row.purpose: row for row in OfficeKey.objects.all()}
    assert set(rows) == {"root", "paper", "statement"}
    assert rows["paper"].issued_by == rows["root"]
    told = Entry.objects.filter(verb="make_office_key")
    assert [one.reason for one in told] == ["A new office."] * 3
    assert not list(seals.check_all())
    with pytest.raises(CommandError, match="has keys already"):
        run("make")
    assert OfficeKey.objects.count() == 3


def test_nothing_is_issued_without_keys(cast, accepted, no_keys: None):
    with pytest.raises(WrongState) as refused:
        certificate_actions.issue(by=cast.certifier, visit=accepted)
    assert str(refused.value) == keyring.NO_KEYS
    assert "python3 manage.py office_keys make" in keyring.NO_KEYS
    assert not Certificate.objects.exists()


def test_nothing_is_issued_under_keys_that_ran_out(cast, accepted):
    row = OfficeKey.objects.get(purpose="statement")
    with pytest.raises(WrongState, match=r"statements ran out on \d{4}-\d\d-\d\d; .* office_keys rotate"):
        keyring.in_use(row.expires_at)
    assert keyring.in_use(row.expires_at - dt.timedelta(seconds=1)).statement_row == row


def test_the_private_parts_are_encrypted(own_keys: None, settings: Any):
    for row in OfficeKey.objects.all():
        assert "BEGIN ENCRYPTED PRIVATE KEY" in row.private
        with pytest.raises(TypeError):
            serialization.load_pem_private_key(row.private.encode(), None)
    settings.KEY_PASSPHRASE = "another one of twenty and more"
    with pytest.raises(WrongState, match="do not open with this passphrase"):
        keyring.in_use().statement_key()


def test_a_short_passphrase_is_refused(settings: Any):
    settings.KEY_PASSPHRASE = "short"
    with pytest.raises(WrongState, match="20 characters"):
        passphrase.passphrase()


def test_the_passphrase_is_drawn_once_and_readable_by_its_owner_only(tmp_path: Path, settings: Any):
    settings.KEY_PASSPHRASE, settings.DATA_DIR = "", tmp_path
    with pytest.raises(WrongState, match="neither OFFICE_KEY_PASSPHRASE nor the file"):
        passphrase.passphrase()
    drawn = passphrase.passphrase(make=True)
    path = tmp_path / "key_passphrase"
    assert path.stat().st_mode & 0o777 == 0o600
    assert passphrase.passphrase(make=True) == drawn == path.read_bytes()
    assert len(drawn) >= 48
    path.chmod(0o644)
    with pytest.raises(WrongState, match="chmod 600"):
        passphrase.passphrase()


def later(days: int) -> Any:
    return patch.object(timezone, "now", return_value=timezone.now() + dt.timedelta(days=days))


def test_after_a_rotation_old_certificates_still_verify(cast, accepted, own_keys: None):
    first = certificate_actions.issue(by=cast.certifier, visit=accepted)
    with later(40):
        run("rotate", "--reason", "Two years are over.", "--with-root")
        second = certificate_actions.issue(
            by=cast.certifier, visit=accepted, replacing=first.number, reason="Issued anew."
        )
        assert OfficeKey.objects.count() == 6
        retired = OfficeKey.objects.exclude(retired_at=None)
        assert [row.private for row in retired] == ["", "", ""]  # nothing can be dated back with them
        keys, now = keyring.published(), timezone.now()
        for certificate in (first, second):
            for document in Document.objects.filter(certificate=certificate):
                verdict = checking.check(bytes(document.pdf), keys, now)
                assert verdict.genuine, verdict.points
                assert verdict.number == certificate.number
            assert checking.check(certificate.seal.code.encode(), keys, now).genuine
        assert first.seal.paper_key != second.seal.paper_key
        assert not list(seals.check_all())
        assert Entry.objects.filter(verb="retire_office_key").count() == 3


def test_a_root_that_stays_vouches_for_the_new_paper_key(own_keys: None):
    run("rotate", "--reason", "Two years are over.")
    assert OfficeKey.objects.filter(purpose="root").count() == 1
    assert not list(seals.check_all())


def test_a_rotation_needs_its_reason_and_keys(no_keys: None):
    with pytest.raises(CommandError, match="needs its reason"):
        run("rotate")
    with pytest.raises(CommandError, match="office_keys make"):
        run("rotate", "--reason", "x")


def test_what_is_published_holds_no_private_part_and_reads_back(own_keys: None):
    text = run("list", "--format", "json")
    assert "PRIVATE" not in text
    keys = published.from_document(json.loads(text))
    assert set(keys.keys) == set(OfficeKey.objects.values_list("identifier", flat=True))
    assert published.to_document(keys) == json.loads(text)


def test_keys_made_while_an_issue_waits_are_not_older_than_it(cast, accepted, own_keys: None, monkeypatch):
    """The rotation lands between the rendering and the transaction: all is sealed anew, and dated within the keys."""
    prepare, seen = sealing.prepare, []

    def interrupted(*given: Any) -> Any:
        made = prepare(*given)
        seen.append(given)
        if len(seen) == 1:
            with later(1):
                actions.rotate_keys(by=None, reason="In between.")
        return made

    monkeypatch.setattr(sealing, "prepare", interrupted)
    certificate = certificate_actions.issue(by=cast.certifier, visit=accepted)
    assert len(seen) == 2
    assert certificate.seal.paper_key.retired_at is None
    assert certificate.issued_at >= certificate.seal.paper_key.used_from
    assert not [one for one in seals.check_all() if certificate.number in one.sentence]
