"""Signatures against what they were put under, and readings against what the trail tells of them."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from office.audit.models import Entry
from office.certificates.verification.findings import CHUNK, Misfit, parsed
from surveys.actions.readings import summary
from surveys.content import canonical_content, sha256
from surveys.models import SignOff, Visit, VisitState
from surveys.transitions import FROZEN

SINGLE = ("record_reading", "amend_reading", "withdraw_reading", "undo_reading")
SIGNATURES = {"measured": "sign_visit", "accepted": "accept_visit"}


def check_all() -> Iterator[Misfit]:
    reached = 0
    visits = Visit.objects.select_related("boat__design", "rig", "measurer").order_by("pk")
    while chunk := list(visits.filter(pk__gt=reached)[:CHUNK]):
        for visit in chunk:
            yield from _signatures(visit)
            yield from _readings(visit)
        reached = chunk[-1].pk


def _name(visit: Visit) -> str:
    return f"{visit} ({visit.key})"


def _signatures(visit: Visit) -> Iterator[Misfit]:
    """Each signature has its hash and its row of the trail, the latest is what the visit holds, and was accepted."""
    told = Counter(
        (verb, str(parsed(after).get("round")), str(parsed(after).get("content_sha256")))
        for verb, after in Entry.objects.filter(visit=visit.key, verb__in=SIGNATURES.values()).values_list(
            "verb", "after"
        )
    )
    measured: dict[int, SignOff] = {}
    accepted: dict[int, SignOff] = {}
    for signed in SignOff.objects.filter(visit=visit).order_by("round", "pk").iterator(chunk_size=4):
        if sha256(signed.content) != signed.content_sha256:
            yield Misfit(
                _name(visit),
                f"What was signed in round {signed.round} ({signed.meaning}) was altered: it does not have its hash.",
            )
        if not told[SIGNATURES[signed.meaning], str(signed.round), signed.content_sha256]:
            yield Misfit(
                _name(visit), f"The trail tells nothing of the signature of round {signed.round} ({signed.meaning})."
            )
        (measured if signed.meaning == "measured" else accepted)[signed.round] = signed
    yield from _acceptances(visit, measured, accepted)
    if visit.state in FROZEN:
        yield from _as_signed(visit, measured[max(measured)] if measured else None)


def _acceptances(visit: Visit, measured: dict[int, SignOff], accepted: dict[int, SignOff]) -> Iterator[Misfit]:
    """What was accepted is what was measured, by somebody else; and an accepted visit was accepted by somebody."""
    for number, signed in accepted.items():
        first = measured.get(number)
        if first is None or first.content_sha256 != signed.content_sha256:
            yield Misfit(_name(visit), f"What was accepted in round {number} is not what was measured in it.")
        elif first.signed_by_id == signed.signed_by_id:
            yield Misfit(_name(visit), f"Measurer and reviewer of round {number} are the same person.")
    if visit.state == VisitState.ACCEPTED and max(measured, default=0) not in accepted:
        yield Misfit(_name(visit), "The visit is accepted, but no reviewer's signature stands under its last round.")


def _as_signed(visit: Visit, latest: SignOff | None) -> Iterator[Misfit]:
    if latest is None:
        yield Misfit(_name(visit), f"The visit is {visit.get_state_display().lower()}, but nobody signed it.")
    elif canonical_content(visit) != latest.content:
        yield Misfit(
            _name(visit), "The visit is not what was signed any more: its readings or what they rest on differ."
        )


def _readings(visit: Visit) -> Iterator[Misfit]:
    """As many rows as the trail tells of, and each one that it tells of singly as it tells it.

    A log sheet's row of the trail counts its readings; what they say is held by the signature.
    """
    rows = list(visit.readings.select_related("instrument"))
    told_rows = list(
        Entry.objects.filter(visit=visit.key, verb__in=[*SINGLE, "take_log_sheet"]).values_list(
            "number", "verb", "after"
        )
    )
    expected = 0
    said = Counter(_told(summary(row)) for row in rows if not row.withdrawn)
    for number, verb, after in told_rows:
        told = parsed(after)
        if verb == "take_log_sheet":
            expected += sum(int(told.get(name) or 0) for name in ("readings_new", "readings_amended"))
            continue
        expected += 1
        took_away = verb == "withdraw_reading" or (verb == "undo_reading" and not told)
        if not took_away and not said[_told(told)]:
            yield Misfit(
                _name(visit),
                f"Row {number} of the trail tells of a reading that is not there: "
                f"{told.get('reading')} {told.get('written')}.",
            )
    if expected != len(rows):
        yield Misfit(_name(visit), f"The visit holds {len(rows)} rows of readings, the trail tells of {expected}.")


def _told(reading: dict[str, str]) -> tuple[tuple[str, str], ...]:
    return tuple(sorted((name, str(value)) for name, value in reading.items()))
