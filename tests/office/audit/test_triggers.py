"""Tables that only grow: the databases themselves refuse."""

from __future__ import annotations

from typing import Any

import pytest
from django.core.checks import run_checks
from django.core.management.sql import emit_post_migrate_signal
from django.db import DatabaseError, connection, connections, transaction
from django.db.migrations.state import ProjectState

from office.audit import chain, checks, trail, triggers
from office.audit.triggers import Rule, append_only
from office.policy.models import PolicyEdition

pytestmark = pytest.mark.django_db

ENDING = ("in_force_before", "ending", "ended_on", "ended_at", "ended_by_id", "ending_reason")
MUST_ONLY_GROW = {
    "audit_entry": (),
    "policy_policyedition": (),
    "surveys_reading": (),
    "surveys_signoff": (),
    "surveys_settlement": (),
    "surveys_calibration": (),
    "surveys_maintenance": (),
    "certificates_document": (),
    "certificates_certificate": ENDING,
    "certificates_amendment": (),
    "certificates_amendmentdocument": (),
    "certificates_amendmentseal": (),
    "certificates_reminder": (),
    "boats_declaration": ("settled_at", "settled_by_id", "settlement"),
    "certificates_suspension": ("lifted_from", "lift_reason", "lifted_at", "lifted_by_id"),
}


def refused(statement: str) -> bool:
    """Whether the database refuses, saying that the table only grows."""
    try:
        with transaction.atomic(), connection.cursor() as cursor:
            cursor.execute(statement)
    except DatabaseError as error:
        return "only grows" in str(error)
    return False


def test_the_tables_of_record_are_declared():
    declared = {rule.table: rule.allow_update_of for rule in triggers.declared(connection)}
    assert MUST_ONLY_GROW.items() <= declared.items()


def test_all_declared_triggers_stand():
    assert triggers.missing(connection) == []


def test_the_trail_refuses_update_and_delete():
    trail.record(by=None, verb="try", subject=trail.Subject("boat", "key"))
    assert refused("UPDATE audit_entry SET reason = 'another'")
    assert refused("UPDATE audit_entry SET number = number + 1")
    assert refused("DELETE FROM audit_entry")
    assert trail.verify() == []


def test_writing_over_a_row_is_refused():
    """An insert that meets a row of the same number must not take its place."""
    trail.record(by=None, verb="try", subject=trail.Subject("boat", "key"))
    columns = ", ".join(chain.COLUMNS)
    same = f"INTO audit_entry ({columns}) SELECT {columns} FROM audit_entry WHERE number = 1"
    assert refused(f"INSERT {same} ON CONFLICT (number) DO UPDATE SET reason = 'another'")
    if connection.vendor == "sqlite":
        assert refused(f"INSERT OR REPLACE {same}")
        assert refused(f"REPLACE {same}")


def test_the_policy_refuses_update_and_delete():
    assert refused("UPDATE policy_policyedition SET office_name = 'another'")
    assert refused("DELETE FROM policy_policyedition")
    assert PolicyEdition.objects.get().office_name == "Rig Measurement Office"


def test_emptying_the_whole_table_is_refused():
    """PostgreSQL's TRUNCATE goes past row triggers; SQLite has none, a bare DELETE is its quick way."""
    trail.record(by=None, verb="try", subject=trail.Subject("boat", "key"))
    assert refused("TRUNCATE audit_entry" if connection.vendor == "postgresql" else "DELETE FROM audit_entry")


class TestOneTable:
    """A table of its own, with columns that may change and columns that may not."""

    RULE = Rule("grows", ("note", "ended"))

    @pytest.fixture(autouse=True)
    def _table(self, db: None):
        with connection.cursor() as cursor:
            cursor.execute("CREATE TABLE grows (id integer PRIMARY KEY, figure real, note text, ended text)")
            cursor.execute("INSERT INTO grows VALUES (1, 2.5, 'as issued', NULL)")
            for statement in triggers.statements_for(connection, self.RULE):
                cursor.execute(statement)

    def test_allowed_columns_change(self):
        assert not refused("UPDATE grows SET note = 'ended', ended = 'today'")

    def test_other_columns_do_not(self):
        assert refused("UPDATE grows SET figure = 3")
        assert refused("UPDATE grows SET figure = NULL")
        assert refused("UPDATE grows SET id = 2")
        assert refused("UPDATE grows SET figure = 3, note = 'ended'")

    def test_setting_every_column_but_changing_only_allowed_ones_passes(self):
        assert not refused("UPDATE grows SET id = 1, figure = 2.5, note = 'ended'")

    def test_rows_stay(self):
        assert refused("DELETE FROM grows")

    def test_rows_are_added(self):
        assert not refused("INSERT INTO grows VALUES (2, 1.5, '', NULL)")

    def test_making_the_triggers_again_changes_nothing(self):
        with connection.cursor() as cursor:
            for statement in triggers.statements_for(connection, self.RULE):
                cursor.execute(statement)
        assert refused("UPDATE grows SET figure = 3")


class Editor:
    """What an operation needs of a schema editor; SQLite's own one does not start inside a test's transaction."""

    connection = connection

    def execute(self, statement: str, params: object) -> None:
        with connection.cursor() as cursor:
            cursor.execute(statement)


def test_the_operation_goes_forwards_and_back():
    state = ProjectState()
    operation = append_only("grows")
    with connection.cursor() as cursor:
        cursor.execute("CREATE TABLE grows (id integer PRIMARY KEY)")
        cursor.execute("INSERT INTO grows VALUES (1)")
    editor: Any = Editor()
    operation.database_forwards("audit", editor, state, state)
    assert refused("DELETE FROM grows")
    operation.database_backwards("audit", editor, state, state)
    assert not refused("DELETE FROM grows")


def test_the_operation_can_be_written_into_a_migration():
    name, args, kwargs = append_only("grows", allow_update_of=("note",)).deconstruct()
    assert (name, args, kwargs) == ("AppendOnly", ["grows"], {"allow_update_of": ("note",)})


def test_a_dropped_trigger_is_found_and_made_anew():
    triggers.drop_triggers(connection)
    assert not refused("UPDATE audit_entry SET reason = 'another'")
    found = triggers.missing(connection)
    assert any("audit_entry can be altered" in sentence for sentence in found)
    assert len(found) == len(triggers.declared(connection))
    assert [finding.sentence for finding in trail.verify()] == found
    triggers.create_triggers(connection)
    assert triggers.missing(connection) == []


def test_a_trigger_that_does_nothing_is_found():
    """Same name, same table, but it lets everything pass."""
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute("DROP TRIGGER audit_entry_no_delete")
            cursor.execute("CREATE TRIGGER audit_entry_no_delete BEFORE DELETE ON audit_entry BEGIN SELECT 1; END")
        else:
            cursor.execute(
                "CREATE OR REPLACE FUNCTION audit_entry_only_grows() RETURNS trigger LANGUAGE plpgsql "
                "AS $$ BEGIN RETURN OLD; END $$"
            )
    assert ["audit_entry" in sentence for sentence in triggers.missing(connection)] == [True]


def test_a_rebuilt_table_loses_its_triggers_and_migrate_gives_them_back():
    """SQLite rebuilds a table to alter a column, and its triggers go without a word."""
    rule = next(rule for rule in triggers.declared(connection) if rule.table == "audit_entry")
    with connection.cursor() as cursor:
        for statement in triggers._drop_statements(connection, rule):
            cursor.execute(statement)
    assert [error.id for error in checks.triggers_stand(["default"])] == ["audit.E001"]
    emit_post_migrate_signal(verbosity=0, interactive=False, db="default")
    assert checks.triggers_stand(["default"]) == []


def test_the_check_is_part_of_the_database_checks():
    assert [error for error in run_checks(tags=["database"], databases=["default"]) if error.id == "audit.E001"] == []
    triggers.drop_triggers(connection)
    assert [error for error in run_checks(tags=["database"], databases=["default"]) if error.id == "audit.E001"]


def test_sqlite_without_immediate_transactions_is_refused(monkeypatch: pytest.MonkeyPatch):
    assert checks.writers_queue() == []
    monkeypatch.setattr(connections["default"], "vendor", "sqlite")
    monkeypatch.setitem(connections["default"].settings_dict["OPTIONS"], "transaction_mode", "DEFERRED")
    assert [error.id for error in checks.writers_queue()] == ["audit.E002"]
