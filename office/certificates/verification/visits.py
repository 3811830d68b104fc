"""Signatures against what they were put under, and readings against what the trail tells of them."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator

from office.audit.digest import row_sha256, rows_sha256
from office.audit.instants import instant
from office.audit.models import Entry
from office.certificates.verification.findings import Misfit, guarded, parsed, readable
from surveys.actions.readings import summary
from surveys.content import canonical_content, sha256
from surveys.models import Reading, SignOff, Visit, VisitState
from surveys.transitions import FROZEN

SINGLE = ("record_reading", "amend_reading", "withdraw_reading", "undo_reading")
SIGNATURES = {"measured": "sign_visit", "accepted": "accept_visit"}


def check_all() -> Iterator[Misfit]:
    for visit in readable(Visit.objects.select_related("boat__design", "rig", "measurer"), "key"):
        if isinstance(visit, Misfit):
            yield visit
        else:
            yield from check(visit)


def check(visit: Visit) -> Iterator[Misfit]:
    for one in (_signatures, _readings, _state):
        yield from guarded(_name(visit), one(visit))


def _name(visit: Visit) -> str:
    return f"{visit} ({visit.key})"


def _signatures(visit: Visit) -> Iterator[Misfit]:
    """Each signature has its hash and its row of the trail, the latest is what the visit holds, and was accepted."""
    rows = Entry.objects.filter(visit=visit.key, verb__in=SIGNATURES.values())
    told = {(one.verb, str(parsed(one.after).get("round"))): one for one in rows}
    measured: dict[int, SignOff] = {}
    accepted: dict[int, SignOff] = {}
    for signed in SignOff.objects.filter(visit=visit).order_by("round", "pk").iterator(chunk_size=4):
        if sha256(signed.content) != signed.content_sha256:
            yield Misfit(
                _name(visit),
                f"What was signed in round {signed.round} ({signed.meaning}) was altered: it does not have its hash.",
            )
        row = told.pop((SIGNATURES.get(signed.meaning, ""), str(signed.round)), None)
        if row is None or not _is_told(signed, row):
            yield Misfit(
                _name(visit), f"The trail tells nothing of the signature of round {signed.round} ({signed.meaning})."
            )
        (measured if signed.meaning == "measured" else accepted)[signed.round] = signed
    for row in told.values():
        yield Misfit(_name(visit), f"Row {row.number} of the trail tells of a signature that the visit does not bear.")
    yield from _acceptances(visit, measured, accepted)
    if visit.state in FROZEN:
        yield from _as_signed(visit, measured[max(measured)] if measured else None)


def _is_told(signed: SignOff, row: Entry) -> bool:
    told = parsed(row.after)
    digest = told.get("row_sha256")
    return (
        told.get("content_sha256") == signed.content_sha256
        and row.actor == signed.signed_by.key
        and (digest is None or digest == row_sha256(signed))
    )


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
    """As many rows as the trail tells of, and each one as it tells it.

    Rows of the trail that were written before they held digests tell less: of a log sheet only the number of its
    readings, which the signature holds.
    """
    rows = list(visit.readings.select_related("instrument"))
    told_rows = list(
        Entry.objects.filter(visit=visit.key, verb__in=[*SINGLE, "take_log_sheet"]).values_list(
            "number", "verb", "before", "after"
        )
    )
    expected = 0
    said = Counter(_told(summary(row)) for row in rows if not row.withdrawn)
    digests = Counter(row_sha256(row) for row in rows)
    for number, verb, before, after in told_rows:
        told = parsed(after)
        if verb == "take_log_sheet":
            expected += sum(int(told.get(name) or 0) for name in ("readings_new", "readings_amended"))
            if "rows_sha256" in told and told["rows_sha256"] != _of_sheet(rows, told):
                yield Misfit(
                    _name(visit),
                    f"Row {number} of the trail tells of a log sheet whose readings are not as it took them.",
                )
            continue
        expected += 1
        took_away = verb == "withdraw_reading" or (verb == "undo_reading" and "reading" not in told)
        digest = told.pop("row_sha256", None)
        if (digest and not digests[digest]) or not (took_away or said[_told(told)]):
            reading = told or parsed(before)
            yield Misfit(
                _name(visit),
                f"Row {number} of the trail tells of a reading that is not there: "
                f"{reading.get('reading')} {reading.get('written')}{', taken away' if took_away else ''}.",
            )
    if expected != len(rows):
        yield Misfit(_name(visit), f"The visit holds {len(rows)} rows of readings, the trail tells of {expected}.")


def _of_sheet(rows: Iterable[Reading], told: dict[str, str]) -> str:
    """The digest of the readings that bear the moment of a log sheet."""
    return rows_sha256(row for row in rows if instant(row.recorded_at) == told.get("readings_at"))


def _state(visit: Visit) -> Iterator[Misfit]:
    """The visit stands where the trail has brought it."""
    rows = (
        Entry.objects.filter(visit=visit.key, subject_kind="visit").order_by("-number").values_list("number", "after")
    )
    for number, after in rows.iterator(chunk_size=50):
        state = parsed(after).get("state")
        if state:
            if state != visit.state:
                yield Misfit(
                    _name(visit),
                    f"The visit is {visit.get_state_display().lower()}, but row {number} of the trail left it "
                    f"{str(state).replace('_', ' ')}.",
                )
            return


def _told(reading: dict[str, str]) -> tuple[tuple[str, str], ...]:
    return tuple(sorted((name, str(value)) for name, value in reading.items()))
