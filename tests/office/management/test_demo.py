"""`manage.py demo` keeps its hands off any database but a demo one, and an interrupted load leaves nothing behind.

The demo office itself has its own tests; here a small one stands in for it.
"""

from __future__ import annotations

import os
import subprocess
import sys
from io import StringIO

import pytest
from django.core.management import CommandError, call_command
from django.db import connection

from office import environment
from office.certificates.models import OfficeKey
from office.demo import load as demo_office
from office.management.commands import demo
from office.people.models import Person
from office.policy.models import PolicyEdition

pytestmark = pytest.mark.django_db


@pytest.fixture
def small_office(monkeypatch):
    """Loads one person and one policy edition; `fail` makes it break off half-way."""

    class Office:
        fail = False
        marks = True
        loads = 0

        def load(self, progress):
            self.loads += 1
            progress("people")
            Person.objects.create(email="someone@office.example", name="Someone")
            if self.fail:
                raise KeyboardInterrupt
            PolicyEdition.objects.create(office_name="Invented", is_demo=self.marks)

    office = Office()
    monkeypatch.setattr(demo_office, "load", office.load)
    monkeypatch.setattr(demo_office, "SIGN_INS", [("Measurer", "someone@office.example", "a long password")])
    return office


def start(**options) -> str:
    out = StringIO()
    call_command("demo", no_serve=True, stdout=out, **options)
    return out.getvalue()


def test_an_empty_database_is_filled_and_the_sign_ins_are_told(small_office):
    said = start(port=8123)
    assert "http://127.0.0.1:8123/" in said
    assert "Measurer" in said
    assert "someone@office.example" in said
    assert "a long password" in said
    assert demo.is_demo()


def test_a_second_start_keeps_what_was_done(small_office):
    start()
    Person.objects.create(email="visitor@office.example", name="Visitor")
    assert "kept" in start()
    assert small_office.loads == 1
    assert Person.objects.filter(email="visitor@office.example").exists()


def test_a_demo_office_from_before_certificates_were_sealed_gets_its_keys(no_keys, small_office):
    start()
    assert not OfficeKey.objects.exists()  # the small office makes none
    start()
    assert OfficeKey.objects.count() == 3


def test_an_interrupted_load_leaves_an_empty_database_for_the_next_start(small_office):
    small_office.fail = True
    with pytest.raises(KeyboardInterrupt):
        start()
    assert not Person.objects.exists()
    small_office.fail = False
    start()
    assert demo.is_demo()


def test_a_load_that_does_not_mark_its_database_is_taken_back(small_office):
    small_office.marks = False
    with pytest.raises(CommandError):
        start()
    assert not Person.objects.exists()


@pytest.mark.parametrize("reset", [False, True])
def test_a_real_office_is_not_touched(small_office, reset):
    Person.objects.create(email="real@office.example", name="Real")
    PolicyEdition.objects.create(office_name="Real", is_demo=False)
    with pytest.raises(CommandError, match="not a demo one"):
        start(reset=reset)
    assert small_office.loads == 0


def test_a_demo_office_with_a_later_real_policy_is_still_a_demo(small_office):
    start()
    PolicyEdition.objects.create(office_name="Invented, renamed", is_demo=False)
    assert demo.is_demo()


def test_tables_that_are_not_ours_are_not_touched(small_office, monkeypatch):
    monkeypatch.setattr(connection.introspection, "table_names", lambda *args, **kwargs: ["somebodys_table"])
    with pytest.raises(CommandError, match="not a demo one"):
        start()


RESET = """
import django
django.setup()
from django.core.management import call_command
from django.db import connection, transaction
from office.audit import trail
from office.demo import load as demo_office
from office.management.commands import demo
from office.people.models import Person
call_command("migrate", verbosity=0)
with transaction.atomic():
    person = Person.objects.create(email="a@office.example", name="A")
    trail.record(by=person, verb="test", subject=person)
demo.drop_everything()
print(connection.introspection.table_names())
call_command("migrate", verbosity=0)
print(Person.objects.count(), demo.is_demo())
"""


def test_a_reset_drops_every_table_although_rows_cannot_be_deleted(tmp_path):
    settings = {**os.environ, "DJANGO_SETTINGS_MODULE": "office.settings", "OFFICE_DATA": str(tmp_path)}
    settings["DATABASE_URL"] = f"sqlite:///{tmp_path}/reset.sqlite3"
    done = subprocess.run(
        [sys.executable, "-c", RESET], cwd=environment.ROOT, env=settings, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    assert done.stdout == "[]\n0 False\n"
