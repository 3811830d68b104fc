"""On PostgreSQL the threads of a process share a few connections, and get others where these have died."""

from __future__ import annotations

import json
import os
import subprocess
import sys

from office import environment
from office.management.serving import address_of_database
from tests.surveys.makers import register_boat

# What a process does that has the office's own settings: six threads read a page at once, then every connection dies.
LOOK = """
import json
from concurrent.futures import ThreadPoolExecutor
from django.db import connection
from wsgiref.util import setup_testing_defaults
from office.wsgi import application

def asked(_):
    said = []
    environ = {"PATH_INFO": "/check/", "QUERY_STRING": "q=SKE+214"}
    setup_testing_defaults(environ)
    answer = application(environ, lambda status, headers: said.append(status))
    answer.close()  # as a server does: the request is over
    return said[0]

def connections():
    if connection.vendor == "sqlite":
        return 0
    with connection.cursor() as cursor:
        cursor.execute("SELECT count(*) FROM pg_stat_activity WHERE application_name = 'pool'")
        return cursor.fetchone()[0]

def cut():
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute(
                "SELECT pg_terminate_backend(pid) FROM pg_stat_activity "
                "WHERE application_name = 'pool' AND pid <> pg_backend_pid()"
            )
        connection.close()

with ThreadPoolExecutor(6) as threads:
    first = list(threads.map(asked, range(24)))
    open_at_once = connections()
    cut()
    second = list(threads.map(asked, range(12)))
options = connection.settings_dict["OPTIONS"]
print(json.dumps([first, second, open_at_once, options.get("pool"), connection.settings_dict["CONN_MAX_AGE"]]))
if connection.vendor == "postgresql":
    connection.close()
    connection.close_pool()
"""


def look(data: str, **settings: str) -> tuple[set[str], set[str], int, dict[str, float] | None, int | None]:
    surroundings = os.environ | {
        "DATABASE_URL": address_of_database(), "DJANGO_SETTINGS_MODULE": "office.settings", "OFFICE_DATA": data,
        "OFFICE_DEBUG": "1", "PGAPPNAME": "pool", **settings,
    }  # fmt: skip
    command = [sys.executable, "manage.py", "shell", "-v0", "-c", LOOK]
    done = subprocess.run(command, cwd=environment.ROOT, env=surroundings, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    first, second, at_once, pool, age = json.loads(done.stdout)
    return set(first), set(second), at_once, pool, age


def test_threads_share_connections(cast, transactional_db, tmp_path):
    register_boat(cast)
    postgresql = address_of_database().startswith("postgres")
    first, second, at_once, pool, age = look(str(tmp_path), OFFICE_DATABASE_POOL="3")
    assert (first, second) == ({"200 OK"}, {"200 OK"})
    if postgresql:
        assert 1 <= at_once <= 3
        assert pool is not None
        assert (pool["max_size"], age) == (3, 0)
    else:
        assert (pool, age) == (None, None)


def test_without_a_pool_each_thread_keeps_its_own(cast, transactional_db, tmp_path):
    register_boat(cast)
    first, second, _, pool, age = look(str(tmp_path), OFFICE_DATABASE_POOL="0")
    assert first == second
    assert (first, pool, age) == ({"200 OK"}, None, None)
