"""What every test shares: no network, a flush that knows the append-only tables, and nothing quietly left out."""

from __future__ import annotations

import gc
import os
import socket
from typing import Any

import pytest
from django.apps import apps
from django.core.cache import cache
from django.core.management.color import no_style
from django.core.management.commands import flush
from django.db import connections, models
from hypothesis import settings as property_tests

from office import environment
from office.audit import triggers
from tests import keys
from tests.cast import cast  # noqa: F401  (a fixture)
from tests.keys import no_keys, own_keys  # noqa: F401  (fixtures)

IN_CI = os.environ.get("CI") == "true"

# Thousands of tests leave much behind that lives on; looking through all of it less often saves a tenth of the time.
gc.set_threshold(50_000, 20, 20)

# A slow machine is no failure; and what is checked before a change lands must not depend on luck.
property_tests.register_profile("office", deadline=None, derandomize=IN_CI)
property_tests.load_profile("office")


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption(
        "--with-a-database", action="store_true", help="only tests that a database could answer differently"
    )


def differs_by_database(item: pytest.Item) -> bool:
    """Whether it uses one and is not about pages, roles or papers, which say the same on every one (`any_database`)."""
    if item.get_closest_marker("any_database"):
        return False
    fixtures = {"db", "transactional_db", "django_db_setup", "live_server"}
    return item.get_closest_marker("django_db") is not None or bool(fixtures & set(getattr(item, "fixturenames", ())))


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """What needs Chromium (all of tests/browser) or readers of papers is reported as not run without, and why."""
    for item in items:
        if "browser" in item.path.relative_to(environment.ROOT).parts:
            item.add_marker(pytest.mark.browser)
        if item.get_closest_marker("browser") and environment.chromium() is None:
            item.add_marker(pytest.mark.skip(reason=environment.CHROMIUM.sentence))
        if item.get_closest_marker("readers") and not environment.has_paper_readers():
            item.add_marker(pytest.mark.skip(reason=environment.PAPER_READERS.sentence))
    if config.getoption("with_a_database"):
        left_out = [item for item in items if not differs_by_database(item)]
        config.hook.pytest_deselected(items=left_out)
        items[:] = [item for item in items if differs_by_database(item)]


def pytest_sessionfinish(session: pytest.Session) -> None:
    """With CI=true anything not run is a failure."""
    reporter = session.config.pluginmanager.get_plugin("terminalreporter")
    if not IN_CI or reporter is None:
        return
    left_out = [report for outcome in ("skipped", "xfailed") for report in reporter.stats.get(outcome, [])]
    if left_out and session.exitstatus == pytest.ExitCode.OK:
        session.exitstatus = pytest.ExitCode.TESTS_FAILED
        for report in left_out:
            reporter.write_line(f"NOT RUN, which is a failure here: {report.nodeid}", red=True)


@pytest.fixture(autouse=True, scope="session")
def _no_network() -> Any:
    """A test that opens a connection to anywhere but this machine fails."""
    connect = socket.socket.connect

    def guarded(self: socket.socket, address: Any) -> None:
        if isinstance(address, tuple) and address[0] not in {"127.0.0.1", "::1", "localhost"}:
            pytest.fail(f"a test reached for the network: {address[0]}")
        connect(self, address)

    socket.socket.connect = guarded  # type: ignore[assignment, method-assign]
    yield
    socket.socket.connect = connect  # type: ignore[method-assign]


@pytest.fixture(scope="session")
def django_db_setup(django_db_setup: None, django_db_blocker: Any) -> Any:
    """Tests with real transactions end in a flush. It sets the triggers of the append-only tables aside, which would
    refuse it, and puts back what was there before all tests: an office has had a policy, and its keys, from the start.
    """
    handle = flush.Command.handle
    with django_db_blocker.unblock():
        keys.put_in_place()
        first_rows = {model: list(model._base_manager.all()) for model in apps.get_models() if not from_django(model)}

    def flush_and_begin_anew(self: flush.Command, **options: Any) -> None:
        connection = connections[options["database"]]
        with triggers.set_aside(connection):
            handle(self, **options)
            cache.clear()  # what the limits have counted lies in no table of a model
        for model, rows in first_rows.items():
            model._base_manager.bulk_create(rows)
        with connection.cursor() as cursor:
            for statement in connection.ops.sequence_reset_sql(no_style(), list(first_rows)):
                cursor.execute(statement)

    flush.Command.handle = flush_and_begin_anew  # type: ignore[method-assign]
    yield
    flush.Command.handle = handle  # type: ignore[method-assign]


def from_django(model: type[models.Model]) -> bool:
    return model.__module__.startswith("django.")
