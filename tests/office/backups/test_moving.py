"""An office moved from one database into another is the same office, row by row."""

from __future__ import annotations

import os
import sqlite3
import subprocess
import sys
from contextlib import closing
from typing import Any

import psycopg
import pytest
from django.db import connection

from office import environment
from office.backups import moving
from tests.surveys.makers import Stage, record_kit, register_boat

ON_SQLITE = connection.vendor == "sqlite"


@pytest.fixture
def here(cast, transactional_db, own_keys) -> str:
    """The address of the tests' own database, with an accepted visit in it."""
    Stage(cast, register_boat(cast), record_kit(cast)).visit("accepted")
    there = connection.settings_dict
    return f"sqlite:///{there['NAME']}" if ON_SQLITE else f"{server()}/{there['NAME']}"


def server() -> str:
    there = connection.settings_dict
    return f"postgres://{there['USER']}@{there['HOST']}:{there['PORT']}"


def move(source: str, target: str) -> subprocess.CompletedProcess[str]:
    surroundings = os.environ | {"DATABASE_URL": source, "DJANGO_SETTINGS_MODULE": "office.settings"}
    command = [sys.executable, "manage.py", "move_database", target]
    return subprocess.run(command, cwd=environment.ROOT, env=surroundings, capture_output=True, text=True, check=False)


def everything(cursor: Any) -> dict[str, list[Any]]:
    rows = {}
    for model in moving.tables():
        cursor.execute(f'SELECT * FROM "{model._meta.db_table}" ORDER BY 1')
        rows[model._meta.db_table] = list(cursor.fetchall())
    return rows


def test_there_and_on_again(here, tmp_path):
    """Into a SQLite file; and from there on PostgreSQL, where these tests run on it."""
    last = first = tmp_path / "first.sqlite3"
    moved = move(here, f"sqlite:///{first}")
    assert moved.returncode == 0, moved.stderr
    assert "all the same" in moved.stdout
    assert "Everything fits." in moved.stdout

    if not ON_SQLITE:
        name = f"{connection.settings_dict['NAME']}_moved"
        with psycopg.connect(f"{server()}/postgres", autocommit=True) as main:
            main.execute(f'DROP DATABASE IF EXISTS "{name}"')
            main.execute(f'CREATE DATABASE "{name}"')
        last = f"{server()}/{name}"
        moved = move(f"sqlite:///{first}", last)
        assert moved.returncode == 0, moved.stderr
        assert "Everything fits." in moved.stdout

    ours = sqlite3.connect(str(connection.settings_dict["NAME"])) if ON_SQLITE else psycopg.connect(here)
    theirs = sqlite3.connect(last) if ON_SQLITE else psycopg.connect(last)
    with closing(ours), closing(theirs):
        before, after = everything(ours.cursor()), everything(theirs.cursor())
        assert len(before["surveys_reading"]) > 30
        assert after == before

    again = move(here, f"sqlite:///{first}")
    assert again.returncode == 1
    assert "holds an office already" in again.stderr


def test_an_address_that_is_none(here):
    refused = move(here, "office")
    assert refused.returncode == 1
    assert "is no address of a database" in refused.stderr
    assert "Traceback" not in refused.stderr


@pytest.mark.parametrize(
    ("there", "sentence"),
    [
        ([(1, "a"), (2, "other")], "Row 2 of "),
        ([(1, "a")], "Row 2 of "),
        ([(1, "a"), (2, "b"), (3, "c")], "has more rows"),
    ],
)
def test_a_row_that_differs_is_named(db, monkeypatch, there, sentence):
    rows = {"default": [(1, "a"), (2, "b")], "there": there}
    monkeypatch.setattr(moving, "_values", lambda model, alias: iter(rows[alias]))
    with pytest.raises(moving.Differs, match=sentence):
        moving.compare("default", "there")
