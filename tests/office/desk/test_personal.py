"""Personal data: taken away as a file, and a name removed while trail, signatures and certificates stand."""

from __future__ import annotations

import json

import pytest
from django.db import connection

from office.audit import verification
from office.audit.models import Entry
from office.audit.refusals import NotAllowed, Refusal, WrongState
from office.certificates import actions as certificate_actions
from office.certificates.verification import register
from office.people.actions import personal, roles
from office.people.models import Person
from tests.surveys.makers import Stage, record_kit, register_boat

pytestmark = pytest.mark.django_db


def gone(cast, person: Person) -> Person:
    roles.disable(by=cast.administrator, person=person, reason="left the office")
    return personal.remove_name(by=cast.administrator, person=person, reason="asked for it")


def everywhere(text: str) -> set[str]:
    """The tables in which a text stands."""
    found = set()
    with connection.cursor() as cursor:
        for table in connection.introspection.table_names(cursor):
            cursor.execute(f'SELECT * FROM "{table}"')
            if any(text in str(value) for row in cursor.fetchall() for value in row if not isinstance(value, bytes)):
                found.add(table)
    return found


def test_the_name_goes_and_everything_verifies(cast):
    stage = Stage(cast, register_boat(cast), record_kit(cast))
    certificate_actions.issue(by=cast.certifier, visit=stage.visit("accepted"))
    name, email, key = cast.reviewer.name, cast.reviewer.email, cast.reviewer.key
    before, misfits = Entry.objects.count(), list(register.check_all())
    person = gone(cast, cast.reviewer)
    assert (person.key, person.name) == (key, f"name removed ({key})")
    # A certificate says who accepted; nothing else knows the name any more.
    assert everywhere(name) == {"certificates_certificate"}
    assert everywhere(email) == set()
    assert Entry.objects.count() == before + 2
    assert verification.verify() == []
    assert list(register.check_all()) == misfits  # the tests' keys have no rows in the trail
    assert not person.has_usable_password()


def test_it_needs_an_administrator_a_reason_and_a_disabled_person(cast):
    with pytest.raises(WrongState, match="is not disabled"):
        personal.remove_name(by=cast.administrator, person=cast.stranger, reason="asked for it")
    roles.disable(by=cast.administrator, person=cast.stranger, reason="left")
    with pytest.raises(NotAllowed):
        personal.remove_name(by=cast.reviewer, person=cast.stranger, reason="asked for it")
    with pytest.raises(Refusal, match="needs a reason"):
        personal.remove_name(by=cast.administrator, person=cast.stranger, reason=" ")
    personal.remove_name(by=cast.administrator, person=cast.stranger, reason="asked for it")
    with pytest.raises(WrongState, match="removed already"):
        personal.remove_name(by=cast.administrator, person=cast.stranger, reason="asked for it")


def test_not_while_the_office_works_with_the_person(client, cast):
    stage = Stage(cast, register_boat(cast), record_kit(cast))
    stage.visit("draft")
    roles.disable(by=cast.administrator, person=cast.measurer, reason="left")
    roles.disable(by=cast.administrator, person=cast.owner, reason="left")
    client.force_login(cast.administrator)
    for person, sentence in ((cast.measurer, "unfinished visit to"), (cast.owner, "end the ownership first")):
        page = client.post(f"/desk/personal/{person.key}/remove/", {"reason": "asked for it"})
        assert page.status_code == 422
        assert sentence in page.content.decode()
        person.refresh_from_db()
        assert "removed" not in person.name


def test_the_page_removes(client, cast):
    roles.disable(by=cast.administrator, person=cast.stranger, reason="left")
    client.force_login(cast.administrator)
    assert "Remove the name" in client.get(f"/people/person/{cast.stranger.key}/").content.decode()
    done = client.post(f"/desk/personal/{cast.stranger.key}/remove/", {"reason": "asked for it"}, follow=True)
    assert "name removed" in done.content.decode()


def test_all_that_is_kept_as_a_file(client, cast):
    stage = Stage(cast, register_boat(cast), record_kit(cast))
    stage.visit("signed")
    client.force_login(cast.measurer)
    answer = client.get(f"/desk/personal/{cast.measurer.key}/")
    assert answer["Content-Disposition"].endswith('.json"')
    kept = json.loads(answer.content)
    assert kept["person"]["email"] == cast.measurer.email
    tables = {name.split(",")[0] for name in kept["rows"]}
    assert {"reading", "visit", "sign off"} <= tables
    assert any(row["verb"] == "sign_visit" for row in kept["trail"])
    text = answer.content.decode()
    assert cast.reviewer.email not in text
    assert cast.administrator.name not in text
    assert "password" not in text
    assert client.get(f"/desk/personal/{cast.owner.key}/").status_code == 403


def test_the_notice(client, cast):
    client.force_login(cast.owner)
    page = client.get("/desk/personal/").content.decode()
    assert f"/desk/personal/{cast.owner.key}/" in page
