"""What a device sends, taken entry by entry: each in a transaction of its own, known again by its token.

stored    it is in the visit now
already   it was: this token before, or the same value from another device
conflict  the take says something else by now; both are kept and a person chooses
refused   it cannot be taken; the sentence says where and what was expected, and the device keeps it
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from django.db import IntegrityError, transaction

from computations.catalogue import READINGS
from office.audit.refusals import NotAllowed, Refusal, WrongState
from office.people.models import Person
from surveys import rules
from surveys.actions.absences import MarkExists, mark_absent, take_absence_back
from surveys.actions.changes import lock
from surveys.actions.conflicts import TYPED_ANEW, close, keep_conflict, settle_conflict, standing_take
from surveys.actions.readings import TakeExists, amend_reading, record_reading, undo_reading, withdraw_reading
from surveys.dock_entries import Entry, entry_of, said_token
from surveys.models import AbsentReading, DeviceEntry, Instrument, Reading, ReadingConflict, Visit
from surveys.reading_words import read_back, reading_token
from surveys.row_keys import place_of
from surveys.values import Unreadable, read_value, unit_beside

TAKEN_AWAY = "taken away while measuring"


@dataclass(frozen=True, slots=True)
class Answer:
    """What became of one entry; `reading` is the take it is about, as it counts now."""

    token: str
    outcome: str
    sentence: str
    reading: Reading | None = None


@dataclass(frozen=True, slots=True)
class _Done:
    outcome: str
    sentence: str
    reading: Reading | None = None


def send(*, by: Person, visit: Visit, device: str, entries: Iterable[object]) -> list[Answer]:
    """Take the entries in their order. One that is refused never stands in the way of the next."""
    rules.check_may_measure(by, visit)
    return [_one(by, visit, device, given) for given in entries]


def _one(by: Person, visit: Visit, device: str, given: object) -> Answer:
    try:
        entry = entry_of(given)
        done = _taken(by, visit, device, entry)
    except Refusal as refusal:
        return Answer(said_token(given), "refused", str(refusal))
    except IntegrityError:  # the token bears a reading of another visit
        return Answer(said_token(given), "refused", "This entry's token is in use elsewhere; type it anew.")
    return Answer(entry.token, done.outcome, done.sentence, done.reading)


@transaction.atomic
def _taken(by: Person, visit: Visit, device: str, entry: Entry) -> _Done:
    lock(visit)
    known = DeviceEntry.objects.select_related("reading__instrument", "reading__recorded_by").filter(token=entry.token)
    if (receipt := known.first()) is not None:
        return _again(visit, entry, receipt)
    if entry.by and entry.by != by.key:
        raise NotAllowed(typed_by_another(entry.by))
    done = _VERBS[entry.kind](by, visit, entry)
    DeviceEntry.objects.create(
        token=entry.token, visit=visit, device=device, kind=entry.kind, outcome=done.outcome, reading=done.reading,
        entry=entry.as_typed(), sent_by=by, typed_at=entry.typed_at_moment,
    )  # fmt: skip
    return done


def _again(visit: Visit, entry: Entry, receipt: DeviceEntry) -> _Done:
    """The answer got lost, or the device sends twice: nothing is stored anew, the answer says what was."""
    if receipt.visit_id != visit.pk:
        raise WrongState("This entry was sent for another visit.")
    if receipt.entry != entry.as_typed():
        said = f" as {receipt.reading.as_written}" if receipt.reading and not receipt.reading.withdrawn else ""
        raise WrongState(f"This entry was stored before{said}; what it says now is something else: amend the reading.")
    if receipt.outcome == "conflict":
        return _Done("conflict", "This waits for a choice between two values already.", receipt.reading)
    said = f": {read_back(receipt.reading)}" if receipt.reading and not receipt.reading.withdrawn else ""
    return _Done("already", f"Stored already{said}.", receipt.reading)


def typed_by_another(key: str) -> str:
    person = Person.objects.filter(key=key).first()
    name = person.name if person else "somebody else"
    return f"This was typed by {name}; {name if person else 'that person'} must sign in to send it."


# ---- The verbs ----


def _take(by: Person, visit: Visit, entry: Entry) -> _Done:
    slug, mast, position = place_of(visit, entry.row, entry.position)
    unit, instrument = _unit(slug, entry), _instrument(entry)
    try:
        stored = record_reading(
            by=by, visit=visit, slug=slug, mast=mast, position=position, take=entry.take, text=entry.text,
            unit=unit, instrument=instrument, remark=entry.remark, token=entry.token,
        )  # fmt: skip
    except TakeExists as exists:
        return _against(by, exists.reading, entry)
    return _Done("stored", f"Stored: {read_back(stored)}.", stored)


def _amend(by: Person, visit: Visit, entry: Entry) -> _Done:
    reading, standing = _replaced(by, visit, entry)
    if standing is None:
        raise WrongState("The reading that this one amends is not there.")
    if reading is None or standing.pk != reading.pk:
        return _against(by, standing, entry)
    amended = amend_reading(
        by=by, reading=reading, text=entry.text, unit=_unit(reading.slug, entry), instrument=_instrument(entry),
        reason=entry.reason, remark=entry.remark, token=entry.token,
    )  # fmt: skip
    if amended.pk == reading.pk:
        return _Done("already", f"It says so already: {read_back(amended)}.", amended)
    return _Done("stored", f"Amended: {read_back(amended)}.", amended)


def _take_away(by: Person, visit: Visit, entry: Entry) -> _Done:
    reading, standing = _replaced(by, visit, entry)
    if standing is None or standing.withdrawn:
        return _Done("already", "It is taken away already.", standing)
    if reading is None:  # what this device sent was in conflict: the other value stands
        return _Done("stored", "Taken back; the other value stands.", standing)
    if standing.pk != reading.pk:
        keep_conflict(by=by, theirs=standing, token=entry.token, reason=entry.reason, withdraws=True)
        return _Done("conflict", f"It has been amended since, to {standing.as_written}. Choose which counts.", standing)
    reason = entry.reason if entry.reason.strip() or visit.signed_at is not None else TAKEN_AWAY
    return _Done("stored", "Taken away.", withdraw_reading(by=by, reading=reading, reason=reason, token=entry.token))


def _absent(by: Person, visit: Visit, entry: Entry) -> _Done:
    slug, mast, position = place_of(visit, entry.row, entry.position)
    try:
        mark_absent(by=by, visit=visit, slug=slug, mast=mast, position=position, reason=entry.reason, token=entry.token)
    except MarkExists as exists:
        return _Done("already", str(exists))
    kind = READINGS[slug]
    more = (
        " The rig's description says otherwise: ask the office to put it right." if kind.decided_by_description else ""
    )
    return _Done("stored", f"Marked as not on this rig: {kind.name}.{more}")


def _present(by: Person, visit: Visit, entry: Entry) -> _Done:
    mark = AbsentReading.objects.filter(visit=visit, token=entry.replaces).first()
    if mark is None:
        slug, mast, position = place_of(visit, entry.row, entry.position)
        marks = visit.absent_readings.filter(slug=slug, mast=mast, position=position)
        mark = marks.order_by("-pk").first()
    if mark is None:
        raise WrongState("This is not marked as missing from the rig.")
    if mark.taken_back_at is not None:
        return _Done("already", "The mark is taken back already.")
    take_absence_back(by=by, mark=mark, reason=entry.reason)
    return _Done("stored", "The mark is taken back; it is to be read.")


def _settle(by: Person, visit: Visit, entry: Entry) -> _Done:
    conflict = ReadingConflict.objects.select_related("instrument").filter(visit=visit, token=entry.replaces).first()
    if conflict is None:
        raise WrongState("There is no such conflict on this visit.")
    if conflict.settled_at is not None and conflict.choice == entry.choose:
        return _Done("already", "It was settled so already.")
    conflict.visit = visit
    written = settle_conflict(by=by, conflict=conflict, choice=entry.choose, reason=entry.reason, token=entry.token)
    place = (conflict.slug, conflict.mast, conflict.position, conflict.take)
    counts = written or standing_take(visit, *place)
    said = f" {read_back(counts)}." if counts and not counts.withdrawn else ""
    return _Done("stored", f"Settled.{said}", counts)


def _undo(by: Person, visit: Visit, entry: Entry) -> _Done:
    reading = _resolved(visit, entry.replaces)
    if reading is None:
        raise WrongState("What was to be undone is not there.")
    undone = undo_reading(by=by, visit=visit, reading=reading, token=entry.token)
    back = "it is to be read again" if undone.withdrawn else f"it says {undone.as_written} again"
    return _Done("stored", f"Undone: {back}.", undone)


_VERBS: dict[str, Callable[[Person, Visit, Entry], _Done]] = {
    "take": _take,
    "amend": _amend,
    "take_away": _take_away,
    "absent": _absent,
    "present": _present,
    "settle": _settle,
    "undo": _undo,
}


# ---- What an entry is about ----


def _against(by: Person, standing: Reading, entry: Entry) -> _Done:
    """A value for a take that is there: the same is no conflict, another one is."""
    kind = READINGS[standing.slug]
    unit, instrument = _unit(standing.slug, entry), _instrument(entry)
    value = read_value(kind, entry.text, unit).value
    same_tool = instrument is None or standing.instrument is None or instrument.pk == standing.instrument_id
    if value == standing.value and same_tool:
        return _Done("already", f"Another device stored the same value: {read_back(standing)}.", standing)
    keep_conflict(
        by=by, theirs=standing, token=entry.token, text=entry.text, unit=unit, instrument=instrument,
        remark=entry.remark, reason=entry.reason,
    )  # fmt: skip
    there = "has been taken away" if standing.withdrawn else f"says {standing.as_written}"
    sentence = f"Take {standing.take} {there} by now; this device says {entry.text}. Both are kept: choose."
    return _Done("conflict", sentence, standing)


def _replaced(by: Person, visit: Visit, entry: Entry) -> tuple[Reading | None, Reading | None]:
    """The reading an entry replaces and the row that stands in its place now.

    Where it replaces what was in conflict, that conflict ends: the first is None, and the take as it stands counts.
    """
    if reading := _resolved(visit, entry.replaces):
        return reading, standing_take(visit, reading.slug, reading.mast, reading.position, reading.take)
    conflict = ReadingConflict.objects.filter(visit=visit, token=entry.replaces).first()
    if conflict is None:
        raise WrongState("The reading that this one replaces has not been stored here.")
    if conflict.settled_at is None:
        conflict.visit = visit
        choice = "theirs" if entry.kind == "take_away" else TYPED_ANEW
        close(conflict, by=by, choice=choice, reason=entry.reason or TYPED_ANEW.replace("_", " "))
    return None, standing_take(visit, conflict.slug, conflict.mast, conflict.position, conflict.take)


def _resolved(visit: Visit, token: str) -> Reading | None:
    """The reading behind a token: its own, that of an entry which said the same, or the one made for showing it."""
    if not token:
        return None
    rows = visit.readings.select_related("instrument", "recorded_by", "replaces__instrument")
    if (reading := rows.filter(token=token).first()) is not None:
        return reading
    receipt = DeviceEntry.objects.filter(visit=visit, token=token, reading__isnull=False).exclude(outcome="conflict")
    if (known := receipt.first()) is not None:
        return rows.filter(pk=known.reading_id or 0).first()
    return next((one for one in rows.filter(token__isnull=True) if reading_token(one, visit.key) == token), None)


def _instrument(entry: Entry) -> Instrument | None:
    if not entry.instrument:
        return None
    found = Instrument.objects.filter(identifier=entry.instrument).first()
    if found is None:
        raise Unreadable("Instrument", entry.instrument, "an instrument on the office's record", "instrument")
    return found


def _unit(slug: str, entry: Entry) -> str:
    return unit_beside(READINGS[slug], entry.text, entry.unit)
