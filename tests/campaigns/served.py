"""A real office on loopback: the test's database copied, a server and a worker on the copy, each to be killed."""

from __future__ import annotations

import abc
import contextlib
import os
import random
import socket
import sqlite3
import subprocess
import sys
import time
from collections.abc import Collection, Iterator
from pathlib import Path
from typing import Any

import psycopg
from django.conf import settings
from django.db import connection

from office import environment, memory
from tests.campaigns.client import Browser, Lost
from tests.campaigns.processes import Program, children, kill, wait_until_gone

GRANIAN = (
    "-m", "granian", "--interface", "wsgi", "--host", "127.0.0.1", "--blocking-threads", "4",
    "--log-level", "warning", "--respawn-failed-workers",
)  # fmt: skip


class Database(abc.ABC):
    """A copy of the test's database, which the server alone uses; asked in plain SQL."""

    def __init__(self, url: str) -> None:
        self.url = url

    @abc.abstractmethod
    def rows(self, statement: str) -> list[tuple[Any, ...]]:
        """What the statement finds."""

    def kill(self) -> None:  # noqa: B027  (a file is no program)
        """SIGKILL to all of it, and up again; nothing where the database is no program."""

    def kill_one(self, chance: random.Random) -> None:  # noqa: B027
        """SIGKILL to one of its processes, whatever it is at."""

    programs: bool = False


class OnSqlite(Database):
    def __init__(self, path: Path) -> None:
        super().__init__(f"sqlite:///{path}")
        self.path = path

    def rows(self, statement: str) -> list[tuple[Any, ...]]:
        with contextlib.closing(sqlite3.connect(self.path)) as opened:
            return opened.execute(statement).fetchall()


class AsTheTests(Database):
    """PostgreSQL as the tests have it, the same database: nothing there is killed."""

    def rows(self, statement: str) -> list[tuple[Any, ...]]:
        with psycopg.connect(self.url) as asked:
            return asked.execute(statement.encode()).fetchall()


class OnPostgresql(AsTheTests):
    """A cluster of its own: a standby of the tests' server, promoted."""

    programs = True

    def __init__(self, url: str) -> None:
        super().__init__(url)
        self.port = int(url.rpartition(":")[2].partition("/")[0])
        with self._superuser() as asked:
            asked.execute("SELECT pg_promote(true, 60)")
            row = asked.execute("SHOW data_directory").fetchone()
        self.directory = str(row[0]) if row else ""

    def _superuser(self) -> psycopg.Connection[Any]:
        where = f"postgres://postgres@127.0.0.1:{self.port}/postgres"
        return psycopg.connect(where, autocommit=True)

    def kill(self) -> None:
        data = Path(self.directory)
        main = int((data / "postmaster.pid").read_text(encoding="ascii").split()[0])
        command = (data / "postmaster.opts").read_text(encoding="utf-8").split()
        pids = [main, *children(main)]
        kill(*pids)
        wait_until_gone(pids)
        for lock in [data / "postmaster.pid", *data.parent.glob(".s.PGSQL.*.lock")]:
            lock.unlink()  # it is dead for certain, though its parent may not have asked about it yet
        arguments = " ".join(command[3:]).replace('"', "")
        programs = environment.postgresql_programs()
        assert programs is not None
        start = [str(programs / "pg_ctl"), "-D", self.directory, "-l", f"{data.parent}/log", "-w", "-o", arguments]
        as_user = ["runuser", "-u", "postgres", "--"] if os.geteuid() == 0 else []
        done = subprocess.run([*as_user, *start, "start"], cwd=data.parent, capture_output=True, text=True, check=False)
        assert done.returncode == 0, done.stdout + done.stderr

    def kill_one(self, chance: random.Random) -> None:
        main = int((Path(self.directory) / "postmaster.pid").read_text(encoding="ascii").split()[0])
        kill(*chance.sample(children(main), 1))


@contextlib.contextmanager
def database_of(directory: Path, *, killed: bool) -> Iterator[Database]:
    """What the test has committed so far, in a database for the server: one that may be killed where that is asked."""
    here = connection.settings_dict
    if connection.vendor == "sqlite":
        path = directory / "office.sqlite3"
        with (
            contextlib.closing(sqlite3.connect(here["NAME"])) as source,
            contextlib.closing(sqlite3.connect(path)) as target,
        ):
            source.backup(target)
        yield OnSqlite(path)
        return
    if not killed:
        yield AsTheTests(f"postgres://{here['USER']}@{here['HOST']}:{here['PORT']}/{here['NAME']}")
        return
    programs = environment.postgresql_programs()
    assert programs is not None
    with environment.private_standby(programs, int(here["PORT"])) as standby:
        yield OnPostgresql(standby.rpartition("/")[0] + f"/{here['NAME']}")


class Office:
    """The server and its worker. `browser` gives a signed-in client; sessions are made before the copy."""

    def __init__(
        self, database: Database, directory: Path, processes: int = 1, workdir: Path | None = None, **more: str
    ) -> None:
        self.database, self.directory, self.logs = database, directory, workdir or directory
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            self.port = int(probe.getsockname()[1])
        self.surroundings = os.environ | memory.ALLOCATOR | {
            "DATABASE_URL": database.url,
            "DJANGO_SETTINGS_MODULE": "tests.campaigns.settings",
            "OFFICE_DATA": str(directory),
            "OFFICE_SECRET_KEY": settings.SECRET_KEY,
            "OFFICE_KEY_PASSPHRASE": settings.KEY_PASSPHRASE,
            "OFFICE_PUBLIC_URL": settings.PUBLIC_URL,
        } | more  # fmt: skip
        (directory / "static").mkdir(exist_ok=True)
        where = ("--port", str(self.port), "--workers", str(processes), "office.wsgi:application")
        self.server = self._program("server", *GRANIAN, *where)
        self.worker = self._program("worker", "manage.py", "worker")

    def _program(self, name: str, *arguments: str) -> Program:
        log = self.logs / f"{name}.log"
        command = [sys.executable, *arguments]
        return Program(command, log=log, cwd=environment.ROOT, environment=self.surroundings)

    def browser(self, session: str = "") -> Browser:
        return Browser(self.port, session)

    def start(self) -> None:
        self.server.start()
        self.wait()

    def wait(self, patience: float = 60.0, answers: Collection[int] = (200,)) -> None:
        """Until the server answers, and so."""
        deadline, asking = time.monotonic() + patience, self.browser()
        while True:
            with contextlib.suppress(Lost):
                if asking.get("/people/sign-in/").status in answers:
                    return
            assert self.server.alive(), self.said("server")
            assert time.monotonic() < deadline, self.said("server")
            time.sleep(0.05)

    def manage(self, *arguments: str) -> subprocess.CompletedProcess[str]:
        command = [sys.executable, "manage.py", *arguments]
        return subprocess.run(
            command, cwd=environment.ROOT, env=self.surroundings, capture_output=True, text=True, check=False
        )

    def said(self, name: str) -> str:
        log = self.logs / f"{name}.log"
        return log.read_text(encoding="utf-8", errors="replace")[-4000:] if log.exists() else ""

    def stop(self) -> None:
        self.server.stop()
        self.worker.stop()


@contextlib.contextmanager
def served(
    directory: Path,
    *,
    worker: bool = False,
    killed: bool = False,
    processes: int = 1,
    workdir: Path | None = None,
    **more: str,
) -> Iterator[Office]:
    with database_of(directory, killed=killed) as database:
        office = Office(database, directory, processes, workdir, **more)
        try:
            office.start()
            if worker:
                office.worker.start()
            yield office
        finally:
            office.stop()
