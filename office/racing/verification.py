"""Signed statements and spot checks of events against what the trail tells of them."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterator
from itertools import chain
from typing import Any

from django.db import models

from office.audit.digest import row_sha256
from office.audit.models import Entry
from office.certificates.verification import stored
from office.certificates.verification.findings import Misfit, guarded, parsed, readable
from office.racing.models import SpotCheck, SpotInstrument, SpotReading, Statement
from office.racing.spot_checks import FINISHED
from office.racing.statements import SETTLED

READINGS = ("record_spot_reading", "amend_spot_reading", "take_spot_reading_away")
SPOT_VERBS = ("begin_spot_check", "describe_spot_instrument", *READINGS, "finish_spot_check")


NAMED: dict[type[models.Model], str] = {
    Statement: "key", SpotCheck: "key", SpotInstrument: "spot_check__key", SpotReading: "spot_check__key",
}  # fmt: skip


def check_all() -> Iterator[Misfit]:
    return chain(stored.check_all(NAMED), guarded("statements", _statements()), guarded("spot checks", _spot_checks()))


def _statements() -> Iterator[Misfit]:
    recorded, settled = _about("record_statement", "after"), _about("settle_statement", "before")
    for one in readable(Statement.objects.select_related("event"), "key"):
        if isinstance(one, Misfit):
            yield one
            continue
        name = f"statement {one.key} for {one.written}"
        yield from guarded(name, _statement(one, name, recorded.pop(one.key, None), settled.pop(one.key, None)))
    for key, told in (recorded | settled).items():
        yield Misfit(f"statement {key}", f"Row {told['row']} of the trail tells of it, but it is not there.")


def _statement(
    one: Statement, name: str, first: dict[str, Any] | None, last: dict[str, Any] | None
) -> Iterator[Misfit]:
    if first is None or first.get("row_sha256", row_sha256(one, without=SETTLED)) != row_sha256(one, without=SETTLED):
        yield Misfit(name, "The trail tells nothing of this statement as it is kept.")
    if (one.settled_at is not None) != (last is not None):
        yield Misfit(name, "Trail and register differ on whether it is settled.")
    elif last and last.get("row_sha256", row_sha256(one)) != row_sha256(one):
        yield Misfit(name, "The trail tells otherwise of how it was settled.")
    elif last is None and (one.settled_by_id or one.settled_how or one.certificate or one.settled_reason):
        yield Misfit(name, "It is open, but says how or by whom it was settled.")


def _about(verb: str, side: str) -> dict[str, dict[str, Any]]:
    """What the trail says under a verb, by the statement's key; with the digest, which stands among what became."""
    rows = Entry.objects.filter(verb=verb).values_list("number", side, "after")
    return {
        str(parsed(named).get("statement")): {**parsed(after), "row": number} for number, named, after in rows
    }  # fmt: skip


def _spot_checks() -> Iterator[Misfit]:
    told: dict[str, list[Entry]] = defaultdict(list)
    for entry in Entry.objects.filter(verb__in=SPOT_VERBS).order_by("number"):
        told[entry.subject].append(entry)
    for spot in readable(SpotCheck.objects.select_related("boat"), "key"):
        if isinstance(spot, Misfit):
            yield spot
            continue
        name = f"{spot} ({spot.key})"
        yield from guarded(name, _spot_check(spot, name, told.pop(spot.key, [])))
    for key, entries in told.items():
        yield Misfit(f"spot check {key}", f"Row {entries[0].number} of the trail tells of it, but it is not there.")


def _spot_check(spot: SpotCheck, name: str, entries: list[Entry]) -> Iterator[Misfit]:
    """Begun and finished as the trail tells it; as many readings and instruments, each as it tells of it."""
    begun = [one for one in entries if one.verb == "begin_spot_check"]
    finished = [one for one in entries if one.verb == "finish_spot_check"]
    if len(begun) != 1 or not _fits(begun[0], row_sha256(spot, without=FINISHED)):
        yield Misfit(name, "The trail tells otherwise of how it was begun.")
    if bool(finished) != (spot.finished_at is not None) or not all(_fits(one, row_sha256(spot)) for one in finished):
        yield Misfit(name, "The trail tells otherwise of what was found and when it was finished.")
    if not finished and (spot.finished_by_id or spot.outcome is not None or spot.remark):
        yield Misfit(name, "It is not finished, but says by whom it was or what was found.")
    yield from _rows(name, "readings", [one for one in entries if one.verb in READINGS], spot.readings.all())
    described = [one for one in entries if one.verb == "describe_spot_instrument"]
    yield from _rows(name, "instruments", described, spot.instruments.all())


def _rows(name: str, what: str, told: list[Entry], kept: Any) -> Iterator[Misfit]:
    digests = Counter(row_sha256(row) for row in kept)
    if len(told) != digests.total():
        yield Misfit(name, f"It holds {digests.total()} rows of {what}, the trail tells of {len(told)}.")
    for one in told:
        digest = parsed(one.after).get("row_sha256")
        if digest and not digests[digest]:
            yield Misfit(name, f"Row {one.number} of the trail tells of {what} that are not there.")


def _fits(entry: Entry, digest: str) -> bool:
    return bool(parsed(entry.after).get("row_sha256", digest) == digest)
