"""Tables that only grow: database triggers that refuse update and delete, on SQLite and on PostgreSQL.

How an app declares such a table, in a migration of its own after the one that makes it:

    from office.audit.triggers import append_only

    class Migration(migrations.Migration):
        dependencies = [("surveys", "0001_initial"), ("audit", "0002_trail_only_grows")]
        operations = [append_only("surveys_reading")]

With `allow_update_of` the named columns may change and all others may not:

    append_only("certificates_certificate", allow_update_of=(
        "in_force_before", "ending", "ended_on", "ended_at", "ended_by_id", "ending_reason"))

An update that sets every column but changes only the allowed ones passes, so a plain `save()` works too.
The migrations are the only list of these tables: `declared` reads it from them, and the system check, the
verification of the register and the tests' flush go by it.

SQLite drops a table's triggers silently whenever a later migration rebuilds the table. They are therefore made
anew after every `migrate` (apps.py), and `manage.py check --database default` says when one does not stand.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.db.migrations.loader import MigrationLoader
from django.db.migrations.operations.base import Operation

if TYPE_CHECKING:
    from django.db.backends.base.base import BaseDatabaseWrapper as Connection
    from django.db.backends.base.schema import BaseDatabaseSchemaEditor
    from django.db.migrations.state import ProjectState


@dataclass(frozen=True, slots=True)
class Rule:
    """One table that only grows; the columns in `allow_update_of` may still change."""

    table: str
    allow_update_of: tuple[str, ...] = ()


class AppendOnly(Operation):
    """The migration operation behind `append_only`."""

    reversible = True
    reduces_to_sql = True

    def __init__(self, table: str, allow_update_of: tuple[str, ...] = ()) -> None:
        self.rule = Rule(table, tuple(allow_update_of))

    def deconstruct(self) -> tuple[str, list[Any], dict[str, Any]]:
        return ("AppendOnly", [self.rule.table], {"allow_update_of": self.rule.allow_update_of})

    def state_forwards(self, app_label: str, state: ProjectState) -> None:
        """Triggers are no part of the models' state."""

    def database_forwards(
        self, app_label: str, schema_editor: BaseDatabaseSchemaEditor, from_state: ProjectState, to_state: ProjectState
    ) -> None:
        for statement in statements_for(schema_editor.connection, self.rule):
            schema_editor.execute(statement, params=None)

    def database_backwards(
        self, app_label: str, schema_editor: BaseDatabaseSchemaEditor, from_state: ProjectState, to_state: ProjectState
    ) -> None:
        for statement in _drop_statements(schema_editor.connection, self.rule):
            schema_editor.execute(statement, params=None)

    def describe(self) -> str:
        return f"Let {self.rule.table} only grow"

    @property
    def migration_name_fragment(self) -> str:
        return f"{self.rule.table}_only_grows"


def append_only(table: str, allow_update_of: tuple[str, ...] = ()) -> AppendOnly:
    """The operation for a migration: `table` (its database name) refuses update and delete from then on."""
    return AppendOnly(table, allow_update_of)


def declared(connection: Connection) -> tuple[Rule, ...]:
    """The tables that the migrations applied to this database let only grow; a later declaration takes over."""
    loader = MigrationLoader(connection)
    rules: dict[str, Rule] = {}
    for key in sorted(loader.applied_migrations.keys() & loader.disk_migrations.keys()):
        for operation in loader.disk_migrations[key].operations:
            if isinstance(operation, AppendOnly):
                rules[operation.rule.table] = operation.rule
    return tuple(rules.values())


def create_triggers(connection: Connection) -> None:
    """Makes every declared trigger anew."""
    with connection.cursor() as cursor:
        for rule in declared(connection):
            for statement in statements_for(connection, rule):
                cursor.execute(statement)


def drop_triggers(connection: Connection) -> None:
    """Drops every declared trigger: for the tests' flush and for loading a demo office anew, nothing else."""
    with connection.cursor() as cursor:
        for rule in declared(connection):
            for statement in _drop_statements(connection, rule):
                cursor.execute(statement)


@contextmanager
def set_aside(connection: Connection) -> Iterator[None]:
    """The triggers are away inside the block and stand again after it."""
    drop_triggers(connection)
    try:
        yield
    finally:
        create_triggers(connection)


def missing(connection: Connection) -> list[str]:
    """One sentence for each declared table whose triggers do not stand as declared."""
    standing = _standing(connection)
    found = []
    for rule in declared(connection):
        wanted = _wanted(connection, rule)
        absent = sorted(name for name, text in wanted.items() if standing.get((rule.table, name)) != text)
        if absent:
            found.append(
                f"The table {rule.table} can be altered: {' and '.join(absent)} "
                f"{'does' if len(absent) == 1 else 'do'} not stand."
            )
    return found


def statements_for(connection: Connection, rule: Rule) -> list[str]:
    """The statements that make the rule's triggers on this database, whatever stood before."""
    if connection.vendor == "sqlite":
        return [*_drop_statements(connection, rule), *_wanted(connection, rule).values()]
    columns = f"ARRAY[{', '.join(_literal(column) for column in rule.allow_update_of)}]::text[]"
    if rule.allow_update_of:
        # Whole rows are compared without the allowed columns, so that a column added later is held as well.
        refuses = f"TG_OP <> 'UPDATE' OR (to_jsonb(OLD) - {columns}) IS DISTINCT FROM (to_jsonb(NEW) - {columns})"
    else:
        refuses = "true"
    function, table = _function(connection, rule), _quoted(connection, rule.table)
    body = (
        f"CREATE FUNCTION {function}() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN "
        f"IF {refuses} THEN RAISE EXCEPTION '%', {_literal(_refusal(rule))}; END IF; RETURN NEW; END $$"
    )
    events = {
        "rows": "BEFORE UPDATE OR DELETE ON {} FOR EACH ROW",
        "truncate": "BEFORE TRUNCATE ON {} FOR EACH STATEMENT",
    }
    triggers = [
        f"CREATE TRIGGER {_name(connection, rule, which)} {event.format(table)} EXECUTE FUNCTION {function}()"
        for which, event in events.items()
    ]
    return [*_drop_statements(connection, rule), body, *triggers]


def _drop_statements(connection: Connection, rule: Rule) -> list[str]:
    if connection.vendor == "sqlite":
        return [f"DROP TRIGGER IF EXISTS {_name(connection, rule, which)}" for which in ("update", "delete")]
    return [
        *(
            f"DROP TRIGGER IF EXISTS {_name(connection, rule, which)} ON {_quoted(connection, rule.table)}"
            for which in ("rows", "truncate")
        ),
        f"DROP FUNCTION IF EXISTS {_function(connection, rule)}()",
    ]


def _wanted(connection: Connection, rule: Rule) -> dict[str, str]:
    """Trigger name -> what must stand: on SQLite its whole text, on PostgreSQL the text of its function."""
    if connection.vendor == "sqlite":
        return {
            f"{rule.table}_no_update": _sqlite_trigger(connection, rule, "update", _changes(connection, rule)),
            f"{rule.table}_no_delete": _sqlite_trigger(connection, rule, "delete", ""),
        }
    body = next(text for text in statements_for(connection, rule) if text.startswith("CREATE FUNCTION"))
    source = body.split("$$")[1]
    return {f"{rule.table}_no_rows": source, f"{rule.table}_no_truncate": source}


def _sqlite_trigger(connection: Connection, rule: Rule, which: str, when: str) -> str:
    return (
        f"CREATE TRIGGER {_name(connection, rule, which)} BEFORE {which.upper()} ON {_quoted(connection, rule.table)} "
        f"{when}BEGIN SELECT RAISE(ABORT, {_literal(_refusal(rule))}); END"
    )


def _changes(connection: Connection, rule: Rule) -> str:
    """The condition under which an update touches a column that may not change."""
    if not rule.allow_update_of:
        return ""
    with connection.cursor() as cursor:
        # Django's own description parses the table's SQL for collations, which takes ten times as long.
        cursor.execute("SELECT name FROM pragma_table_info(%s) ORDER BY cid", [rule.table])
        columns = [name for (name,) in cursor.fetchall()]
    held = [_quoted(connection, column) for column in columns if column not in rule.allow_update_of]
    return f"WHEN {' OR '.join(f'OLD.{column} IS NOT NEW.{column}' for column in held)} "


def _standing(connection: Connection) -> dict[tuple[str, str], str]:
    """(table, trigger) -> its text, for every trigger that stands and is switched on."""
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute("SELECT tbl_name, name, sql FROM sqlite_master WHERE type = 'trigger'")
        else:
            cursor.execute(
                "SELECT t.tgrelid::regclass::text, t.tgname, p.prosrc FROM pg_trigger t "
                "JOIN pg_proc p ON p.oid = t.tgfoid WHERE NOT t.tgisinternal AND t.tgenabled IN ('O', 'A')"
            )
        return {(table, name): text for table, name, text in cursor.fetchall()}


def _refusal(rule: Rule) -> str:
    return f"{rule.table} only grows: its rows are never altered or removed"


def _name(connection: Connection, rule: Rule, which: str) -> str:
    return _quoted(connection, f"{rule.table}_no_{which}")


def _function(connection: Connection, rule: Rule) -> str:
    return _quoted(connection, f"{rule.table}_only_grows")


def _quoted(connection: Connection, name: str) -> str:
    return str(connection.ops.quote_name(name))


def _literal(text: str) -> str:
    return "'" + text.replace("'", "''") + "'"
