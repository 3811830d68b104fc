"""What the database itself refuses of certificates: two in force on one day, and a life made longer.

At most one certificate of a boat is in force on any day: an exclusion constraint on PostgreSQL, triggers on SQLite.
`in_force_before` is only ever brought forward: triggers on both. The triggers of a SQLite table go silently when a
migration rebuilds it; they are made anew after every migrate, and a system check says when one does not stand.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from django.db.backends.base.base import BaseDatabaseWrapper as Connection

TABLE = "certificates_certificate"
ONE_IN_FORCE = "certificates_one_in_force_a_day"
ONLY_SHORTER = "certificates_only_shorter"

TWO_IN_FORCE = "a boat has at most one certificate in force on any day"
LONGER = "a certificate is never made to last longer than it did"
NUMBER_TAKEN = "the number of a certificate is given once"

# Half-open spans [valid_from, in_force_before) of two certificates of one boat, neither of them empty, overlap.
_OVERLAP = f"""EXISTS (
  SELECT 1 FROM {TABLE} AS other
  WHERE other.boat_id = NEW.boat_id {{but}}
    AND other.valid_from < other.in_force_before AND NEW.valid_from < NEW.in_force_before
    AND other.valid_from < NEW.in_force_before AND NEW.valid_from < other.in_force_before)"""  # noqa: S608

_SQLITE = {
    f"{ONE_IN_FORCE}_insert": f"""CREATE TRIGGER {ONE_IN_FORCE}_insert BEFORE INSERT ON {TABLE}
WHEN {_OVERLAP.format(but="")} BEGIN SELECT RAISE(ABORT, '{TWO_IN_FORCE}'); END""",
    f"{ONE_IN_FORCE}_update": f"""CREATE TRIGGER {ONE_IN_FORCE}_update BEFORE UPDATE ON {TABLE}
WHEN {_OVERLAP.format(but="AND other.id <> OLD.id")} BEGIN SELECT RAISE(ABORT, '{TWO_IN_FORCE}'); END""",
    # INSERT OR REPLACE takes the former row away without asking its delete trigger.
    f"{ONE_IN_FORCE}_number": f"""CREATE TRIGGER {ONE_IN_FORCE}_number BEFORE INSERT ON {TABLE}
WHEN EXISTS (SELECT 1 FROM {TABLE} WHERE number = NEW.number OR id = NEW.id)
BEGIN SELECT RAISE(ABORT, '{NUMBER_TAKEN}'); END""",  # noqa: S608
    ONLY_SHORTER: f"""CREATE TRIGGER {ONLY_SHORTER} BEFORE UPDATE ON {TABLE}
WHEN NEW.in_force_before > OLD.in_force_before BEGIN SELECT RAISE(ABORT, '{LONGER}'); END""",
}

_POSTGRESQL_EXCLUSION = f"""ALTER TABLE {TABLE} ADD CONSTRAINT {ONE_IN_FORCE}
EXCLUDE USING gist (boat_id WITH =, daterange(valid_from, in_force_before, '[)') WITH &&)"""
_POSTGRESQL_FUNCTION = f"""CREATE OR REPLACE FUNCTION {ONLY_SHORTER}() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN
IF NEW.in_force_before > OLD.in_force_before THEN
  RAISE EXCEPTION '{LONGER}' USING ERRCODE = 'integrity_constraint_violation';
END IF; RETURN NEW; END $$"""
_POSTGRESQL_TRIGGER = (
    f"CREATE TRIGGER {ONLY_SHORTER} BEFORE UPDATE ON {TABLE} FOR EACH ROW EXECUTE FUNCTION {ONLY_SHORTER}()"
)


def create(connection: Connection) -> None:
    """Makes whatever does not stand; nothing where the table is not there yet."""
    absent = _absent(connection)
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            for name in absent:
                cursor.execute(f"DROP TRIGGER IF EXISTS {name}")
                cursor.execute(_SQLITE[name])
            return
        if ONE_IN_FORCE in absent:
            cursor.execute("CREATE EXTENSION IF NOT EXISTS btree_gist")
            cursor.execute(_POSTGRESQL_EXCLUSION)
        if ONLY_SHORTER in absent:
            cursor.execute(_POSTGRESQL_FUNCTION)
            cursor.execute(f"DROP TRIGGER IF EXISTS {ONLY_SHORTER} ON {TABLE}")
            cursor.execute(_POSTGRESQL_TRIGGER)


def drop(connection: Connection) -> None:
    """For the way back through the migrations, nothing else."""
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            for name in _SQLITE:
                cursor.execute(f"DROP TRIGGER IF EXISTS {name}")
            return
        cursor.execute(f"ALTER TABLE {TABLE} DROP CONSTRAINT IF EXISTS {ONE_IN_FORCE}")
        cursor.execute(f"DROP TRIGGER IF EXISTS {ONLY_SHORTER} ON {TABLE}")
        cursor.execute(f"DROP FUNCTION IF EXISTS {ONLY_SHORTER}()")


def missing(connection: Connection) -> list[str]:
    """One sentence for each of them that does not stand."""
    return [f"The database does not hold certificates to the rule {name}." for name in _absent(connection)]


def _absent(connection: Connection) -> list[str]:
    if TABLE not in connection.introspection.table_names():
        return []
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger' AND tbl_name = %s", [TABLE])
            standing = dict(cursor.fetchall())
            return [name for name, text in _SQLITE.items() if standing.get(name) != text]
        cursor.execute(
            "SELECT conname FROM pg_constraint WHERE conrelid = %s::regclass AND contype = 'x' AND convalidated "
            "UNION SELECT tgname FROM pg_trigger WHERE tgrelid = %s::regclass AND tgenabled IN ('O', 'A')",
            [TABLE, TABLE],
        )
        found = {name for (name,) in cursor.fetchall()}
    return [name for name in (ONE_IN_FORCE, ONLY_SHORTER) if name not in found]
