"""`manage.py test`: which runs it makes of its arguments, and what it answers when something was not run."""

from __future__ import annotations

from contextlib import nullcontext
from io import StringIO
from pathlib import Path

import pytest

from office import environment
from office.management.commands import test as command


@pytest.fixture
def runs(monkeypatch):
    """The runs of pytest that were asked for, each as (arguments, database); none is really made."""
    asked = []

    def pytest_run(arguments, database_url):
        asked.append((tuple(arguments), database_url))
        return 0

    monkeypatch.setattr(command, "pytest", pytest_run)
    monkeypatch.setattr(environment, "stop_like_ctrl_c", lambda: None)
    monkeypatch.setattr(environment, "prepare_chromium", lambda: None)
    monkeypatch.setattr(environment, "prepare_paper_readers", lambda: True)
    monkeypatch.setattr(environment, "prepare_postgresql", lambda: None)
    monkeypatch.setattr(environment, "chromium", lambda: "/usr/bin/chromium")
    monkeypatch.setattr(environment, "postgresql_programs", lambda: Path("/somewhere"))
    monkeypatch.setattr(environment, "private_postgresql", lambda programs: nullcontext("postgres://there"))
    return asked


def run(*arguments) -> tuple[int, str]:
    out = StringIO()
    with pytest.raises(SystemExit) as stop:
        command.Command(stdout=out).run_from_argv(["manage.py", "test", *arguments])
    return int(stop.value.code or 0), out.getvalue()


def test_without_arguments_everything_runs(runs):
    assert run() == (0, "SQLite: passed\nBrowser: passed\nPostgreSQL: passed\n")
    assert runs == [(command.UNIT, None), (command.BROWSER, None), (command.WITH_A_DATABASE, "postgres://there")]


def test_arguments_reach_pytest_on_sqlite(runs):
    assert run("tests/boats", "-k", "rig", "-v")[0] == 0
    assert runs == [(("tests/boats", "-k", "rig", "-v"), None)]


def test_postgres_chooses_the_other_database(runs):
    assert run("--postgres", "-k", "rig")[0] == 0
    assert runs == [(("-k", "rig"), "postgres://there")]


def test_a_failed_run_is_the_answer_of_the_whole(runs, monkeypatch):
    monkeypatch.setattr(command, "pytest", lambda arguments, url: 1 if url else 0)
    code, said = run()
    assert code == 1
    assert "PostgreSQL: FAILED" in said


def test_no_test_found_is_a_failure(runs, monkeypatch):
    monkeypatch.setattr(command, "pytest", lambda arguments, url: int(pytest.ExitCode.NO_TESTS_COLLECTED))
    assert run()[0] == 1


@pytest.mark.parametrize(("ci", "code"), [("", 0), ("true", 1)])
def test_what_is_missing_is_said_and_fails_in_ci(runs, monkeypatch, ci, code):
    monkeypatch.setenv("CI", ci)
    monkeypatch.setattr(environment, "chromium", lambda: None)
    monkeypatch.setattr(environment, "postgresql_programs", lambda: None)
    answer, said = run()
    assert answer == code
    assert f"Browser: NOT RUN. {environment.CHROMIUM.sentence}" in said
    assert f"PostgreSQL: NOT RUN. {environment.POSTGRESQL.sentence}" in said
    assert runs == [(command.UNIT, None)]
