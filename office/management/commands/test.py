"""`manage.py test`: the whole suite, on SQLite, in the browser and on PostgreSQL. The README's words on it:

manage.py test                       everything
manage.py test tests/boats -k rig    pytest's own arguments: one run on SQLite
manage.py test --postgres -k rig     the same on PostgreSQL
"""

from __future__ import annotations

import os
import subprocess
import sys
from typing import Any, NamedTuple

from django.core.management.base import BaseCommand, CommandError

from office import environment

WORKERS = "2"
UNIT = ("-m", "not browser", "-n", WORKERS, "--durations", "30")
BROWSER = ("-m", "browser", "-n", WORKERS, "--durations", "30")
WITH_A_DATABASE = (*UNIT, "--with-a-database")  # what no database could answer differently is asked on one


class Run(NamedTuple):
    name: str
    code: int = 0
    not_run: str = ""  # the reason


class Command(BaseCommand):
    help = "Runs the tests; arguments reach pytest, --postgres chooses the database for such a run."
    requires_system_checks = ()

    def run_from_argv(self, argv: list[str]) -> None:
        """Everything after `test` is pytest's, so Django's own parser never sees it."""
        environment.stop_like_ctrl_c()
        arguments = argv[2:]
        chosen = [argument for argument in arguments if argument != "--postgres"]
        environment.prepare_paper_readers()
        if "--postgres" in arguments:
            environment.prepare_postgresql()
            runs = [on_postgresql(chosen or UNIT)]
        elif chosen:
            environment.prepare_chromium()
            runs = [on_sqlite("SQLite", chosen)]
        else:
            environment.prepare_chromium()
            environment.prepare_postgresql()
            runs = [on_sqlite("SQLite", UNIT), in_browser(), on_postgresql(WITH_A_DATABASE)]
        sys.exit(self.sum_up(runs))

    def handle(self, *args: Any, **options: Any) -> None:
        raise CommandError("Start the tests from the command line: python3 manage.py test.")

    def sum_up(self, runs: list[Run]) -> int:
        """One line per run. With CI=true what has not run has failed."""
        failed = False
        for run in runs:
            in_vain = bool(run.not_run) and os.environ.get("CI") == "true"
            failed = failed or bool(run.code) or in_vain
            word = f"NOT RUN. {run.not_run}" if run.not_run else "FAILED" if run.code else "passed"
            self.stdout.write(f"{run.name}: {word}")
        return int(failed)


def pytest(arguments: tuple[str, ...] | list[str], database_url: str | None) -> int:
    settings = {**os.environ, "DJANGO_SETTINGS_MODULE": "tests.settings"}
    settings.pop("DATABASE_URL", None)
    if database_url:
        settings["DATABASE_URL"] = database_url
    command = [sys.executable, "-m", "pytest", *arguments]
    return subprocess.run(command, cwd=environment.ROOT, env=settings, check=False).returncode


def on_sqlite(name: str, arguments: tuple[str, ...] | list[str]) -> Run:
    environment.say(f"Testing: {name} …")
    return Run(name, pytest(arguments, None))


def in_browser() -> Run:
    if environment.chromium() is None:
        return Run("Browser", not_run=environment.CHROMIUM.sentence)
    return on_sqlite("Browser", BROWSER)


def on_postgresql(arguments: tuple[str, ...] | list[str]) -> Run:
    programs = environment.postgresql_programs()
    if programs is None:
        return Run("PostgreSQL", not_run=environment.POSTGRESQL.sentence)
    environment.say("Testing: PostgreSQL …")
    with environment.private_postgresql(programs) as database_url:
        return Run("PostgreSQL", pytest(arguments, database_url))
