"""Public pages read from the replica, and only they; on PostgreSQL from a real one."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Callable
from typing import Any

import pytest
from django.conf import settings
from django.db import connection, router

from boats.models import Boat
from office import environment, replica
from tests.surveys.makers import register_boat

# What a process does that has a replica: reads a public page and a private one, and counts what it asked of each.
LOOK = """
import json
from django.core.management import call_command
from django.db import connections
from django.test import Client
call_command("collectstatic", interactive=False, verbosity=0)
for one in connections.all(): one.force_debug_cursor = True
def asked(address, name):
    for one in connections.all(): one.queries_log.clear()
    page = Client(SERVER_NAME="127.0.0.1").get(address)
    told = {"status": page.status_code, "found": name in page.content.decode()}
    return told | {one.alias: len(one.queries) for one in connections.all()}
print(json.dumps([asked("/check/?q=SKE+214", "Quiet Margin"), asked("/people/sign-in/", "Sign in")]))
"""


def asked(what: Callable[[], Any]) -> Any:
    """What is answered within a page that reads from the replica."""
    page: Any = replica.from_replica(lambda request: what())
    return page(None)


def test_nothing_goes_to_a_replica_that_there_is_not(db):
    assert asked(lambda: router.db_for_read(Boat)) == "default"


def test_only_reads_of_public_pages_go_there(db, monkeypatch):
    monkeypatch.setitem(settings.DATABASES, "replica", {})
    assert router.db_for_read(Boat) == "default"
    assert asked(lambda: router.db_for_read(Boat)) == "replica"
    assert asked(lambda: router.db_for_write(Boat)) == "default"
    assert router.db_for_read(Boat) == "default"
    assert not router.allow_migrate("replica", "boats")


def test_an_error_in_the_page_leaves_nothing_behind(db, monkeypatch):
    monkeypatch.setitem(settings.DATABASES, "replica", {})
    with pytest.raises(ZeroDivisionError):
        asked(lambda: 1 / 0)
    assert router.db_for_read(Boat) == "default"


def test_with_a_streaming_replica(cast, transactional_db, monkeypatch, tmp_path):
    """On SQLite the same office stands in for its replica: there is nothing to stream."""
    monkeypatch.setenv("OFFICE_DATA", str(tmp_path))
    register_boat(cast)
    here = connection.settings_dict
    if connection.vendor == "sqlite":
        look(f"sqlite:///{here['NAME']}", f"sqlite:///{here['NAME']}")
        return
    programs = environment.postgresql_programs()
    assert programs is not None
    with environment.private_standby(programs, int(here["PORT"])) as standby:
        there = standby.rpartition("/")[0] + f"/{here['NAME']}"
        look(f"postgres://{here['USER']}@{here['HOST']}:{here['PORT']}/{here['NAME']}", there)


def look(database: str, replica_url: str) -> None:
    surroundings = os.environ | {
        "DATABASE_URL": database, "DATABASE_REPLICA_URL": replica_url, "DJANGO_SETTINGS_MODULE": "office.settings",
    }  # fmt: skip
    command = [sys.executable, "manage.py", "shell", "-v0", "-c", LOOK]
    done = subprocess.run(command, cwd=environment.ROOT, env=surroundings, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    public, private = json.loads(done.stdout)
    assert (public["status"], public["found"]) == (200, True)
    assert public["replica"] > 0
    assert private["status"] == 200
    assert private["replica"] == 0
