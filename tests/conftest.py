"""What every test shares: no network, a flush that knows the append-only tables, and nothing quietly left out."""

from __future__ import annotations

import os
import socket
from importlib import import_module
from typing import Any

import pytest
from django.core.management.commands import flush
from django.db import connections

from office import environment
from office.audit import triggers
from office.policy.models import PolicyEdition
from tests.cast import cast  # noqa: F401  (a fixture)

FIRST_EDITION = import_module("office.policy.migrations.0002_first_edition").FIRST
IN_CI = os.environ.get("CI") == "true"


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """All of tests/browser needs Chromium; where it is missing its tests are reported as not run, with the reason."""
    for item in items:
        if "browser" in item.path.relative_to(environment.ROOT).parts:
            item.add_marker(pytest.mark.browser)
        if item.get_closest_marker("browser") and environment.chromium() is None:
            item.add_marker(pytest.mark.skip(reason=environment.CHROMIUM.sentence))


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


@pytest.fixture(autouse=True, scope="session")
def _flush_despite_triggers() -> Any:
    """Tests with real transactions end in a flush, which the triggers of the append-only tables would refuse."""
    handle = flush.Command.handle

    def handle_without_triggers(self: flush.Command, **options: Any) -> None:
        connection = connections[options["database"]]
        with triggers.set_aside(connection):
            handle(self, **options)
        # A flushed office keeps what a fresh one has from its migrations.
        PolicyEdition.objects.using(options["database"]).create(**FIRST_EDITION)

    flush.Command.handle = handle_without_triggers  # type: ignore[method-assign]
    yield
    flush.Command.handle = handle  # type: ignore[method-assign]
