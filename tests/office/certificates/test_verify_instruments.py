"""Calibrations and maintenance are held against the trail, as everything in the register is."""

from __future__ import annotations

import datetime as dt
import io

import pytest
from django.core.management import call_command
from django.db import connection, transaction

from office.audit import trail, triggers
from surveys import actions
from surveys.models import Maintenance
from tests.surveys.makers import record_kit

pytestmark = pytest.mark.usefixtures("own_keys")


def verify() -> tuple[int, str]:
    """The exit status and what was printed."""
    out = io.StringIO()
    try:
        call_command("verify_register", stdout=out)
    except SystemExit as end:
        return int(str(end.code)), out.getvalue()
    return 0, out.getvalue()


def test_what_was_done_to_an_instrument_is_held_against_the_trail(cast):
    """One entry told without a digest, as before there were any; then each kind of row altered, added or taken away."""
    kit = record_kit(cast)
    entry = actions.record_maintenance(
        by=cast.administrator,
        instrument=kit["T-03"],
        done_on=dt.date(2026, 1, 5),
        what="Hook bent back.",
        done_by="Yard",
    )
    with transaction.atomic():
        old = Maintenance.objects.create(
            instrument=kit["C-02"], done_on=dt.date(2025, 1, 5), what="Oiled.", done_by="Yard",
            recorded_by=cast.administrator,
        )  # fmt: skip
        told = {"done_on": "2025-01-05", "what": "Oiled.", "done_by": "Yard"}
        trail.record(by=cast.administrator, verb="record_maintenance", subject=kit["C-02"], after=told)
    assert verify()[0] == 0
    number = trail.head()[0] - 1
    with triggers.set_aside(connection):
        for row, change, sentence in (
            (
                entry,
                {"done_by": "Nobody"},
                f"Row {number} of the trail tells otherwise of the entries of maintenance of T-03",
            ),
            (entry, {"firmware": "2.0"}, "otherwise of the entries of maintenance of T-03"),
            (entry, {"recorded_by": cast.reviewer}, "otherwise of the entries of maintenance of T-03"),
            (entry, {"instrument": kit["C-02"]}, "T-03 has 0 entries of maintenance, the trail tells of 1"),
            (old, {"what": "Dropped."}, "otherwise of the entries of maintenance of C-02"),
            (kit["T-03"].calibrations.get(), {"error": 0.9}, "otherwise of the calibrations of T-03"),
        ):
            with transaction.atomic():
                type(row).objects.filter(pk=row.pk).update(**change)
                status, text = verify()
                assert (status, sentence in text) == (1, True), text
                transaction.set_rollback(True)
    assert verify()[0] == 0
