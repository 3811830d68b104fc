"""Calibrations and the log of maintenance against what the trail tells of each instrument."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterator
from typing import Any

from django.db.models import Model

from office.audit.digest import row_sha256
from office.audit.models import Entry
from office.certificates.verification.findings import Misfit, guarded, parsed
from surveys.models import Calibration, Instrument, Maintenance

# Verb of the trail -> what it tells of, and the columns that a row of before there were digests tells as well.
TOLD: dict[str, tuple[type[Model], str, tuple[str, ...]]] = {
    "add_calibration": (Calibration, "calibrations", ("calibrated_on", "due_on")),
    "record_maintenance": (Maintenance, "entries of maintenance", ("done_on", "what", "done_by")),
}


def check_all() -> Iterator[Misfit]:
    """As many rows of each kind as the trail tells of, and each one as it tells it."""
    told: dict[tuple[str, str], list[tuple[int, dict[str, Any]]]] = defaultdict(list)
    entries = Entry.objects.filter(verb__in=TOLD).order_by("number").values_list("subject", "verb", "number", "after")
    for identifier, verb, number, after in entries:
        told[identifier, verb].append((number, parsed(after)))
    for key, mark in Instrument.objects.order_by("pk").values_list("pk", "identifier"):
        for verb in TOLD:
            yield from guarded(mark, _compared(key, mark, verb, told.pop((mark, verb), [])))
    for (mark, _), rows in told.items():
        yield Misfit(mark, f"Row {rows[0][0]} of the trail tells of an instrument {mark} that is not there.")


def _compared(key: int, mark: str, verb: str, told: list[tuple[int, dict[str, Any]]]) -> Iterator[Misfit]:
    model, what, columns = TOLD[verb]
    kept = list(model._base_manager.filter(instrument=key))
    digests = Counter(row_sha256(row) for row in kept)
    said = Counter(tuple(str(getattr(row, column)) for column in columns) for row in kept)
    if len(told) != len(kept):
        yield Misfit(mark, f"{mark} has {len(kept)} {what}, the trail tells of {len(told)}.")
    for number, after in told:
        digest = after.get("row_sha256")
        fits = digests[digest] if digest else said[tuple(str(after.get(column)) for column in columns)]
        if not fits:
            yield Misfit(mark, f"Row {number} of the trail tells otherwise of the {what} of {mark}.")
