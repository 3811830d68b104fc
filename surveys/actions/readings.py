"""Single readings: recorded, amended, taken away, undone. A row is never altered; a new one replaces it."""

from __future__ import annotations

from django.db import transaction
from django.utils import timezone

from computations.inputs import Rig
from office.audit.digest import row_sha256
from office.audit.refusals import WrongState
from office.people.models import Person
from surveys import rules
from surveys.actions.changes import finish, lock, text_of
from surveys.actions.reasons import given_reason
from surveys.inputs import rig_inputs
from surveys.logsheet.fields import LONGEST_POSITION, LONGEST_REMARK
from surveys.models import Instrument, Reading, Visit, VisitState
from surveys.values import Unreadable, Written, check_more_places, check_place, kind_of, read_value, seen

BEFORE_SIGNATURE = "corrected while measuring"
READ_AGAIN = "read again"
UNDONE = "undone"


class TakeExists(WrongState):
    """This take is there already; `reading` is the row that counts."""

    def __init__(self, reading: Reading) -> None:
        said = reading.as_written
        super().__init__(f"Take {reading.take} is there already ({said}); amend it, or record the next take.")
        self.reading = reading


@transaction.atomic
def record_reading(
    *,
    by: Person,
    visit: Visit,
    slug: str,
    mast: str,
    position: str,
    take: int,
    text: str,
    unit: str,
    instrument: Instrument | None,
    remark: str = "",
    token: str | None = None,
) -> Reading:
    """Store one take. Raises TakeExists where it is there, Unreadable where it cannot be read."""
    _open(by, visit)
    kind, position = kind_of(slug), position.strip()
    check_place(kind, _rig(visit), mast, position, take)
    if kind.named_position:
        named = visit.readings.filter(slug=slug, mast=mast).values_list("position", flat=True)
        check_more_places(kind, seen(kind.name, position, LONGEST_POSITION, "position"), set(named))
    rules.check_not_absent(visit, slug, mast, position)
    written = read_value(kind, text, unit)
    _check_instrument(visit, instrument)
    former = (
        visit.readings.filter(slug=slug, mast=mast, position=position, take=take, replaced_by__isnull=True)
        .select_related("instrument")
        .first()
    )
    if former is not None and not former.withdrawn:
        raise TakeExists(former)
    reading = Reading(
        visit=visit, slug=slug, mast=mast, position=position, take=take, instrument=instrument, token=token
    )
    reading.remark = _remark(remark)
    _store(reading, written, by, former, READ_AGAIN if former else "")
    finish(visit, by=by, verb="record_reading", after=_told(reading), reason=reading.reason)
    return reading


@transaction.atomic
def amend_reading(
    *,
    by: Person,
    reading: Reading,
    text: str,
    unit: str,
    instrument: Instrument | None,
    reason: str = "",
    remark: str = "",
    token: str | None = None,
) -> Reading:
    """Put another value in this reading's place. The reason may go unsaid only before the visit's first signature."""
    visit = reading.visit
    _open(by, visit)
    _check_current(reading)
    kind = kind_of(reading.slug)
    written = read_value(kind, text, unit)
    _check_instrument(visit, instrument)
    remark = _remark(remark)
    same = (written.written, written.unit, _pk(instrument), remark)
    if same == (reading.written, reading.unit_written, reading.instrument_id, reading.remark):
        return reading
    amended = Reading(
        visit=visit,
        slug=reading.slug,
        mast=reading.mast,
        position=reading.position,
        take=reading.take,
        instrument=instrument,
        remark=remark,
        token=token,
    )
    _store(amended, written, by, reading, _reason(visit, reason))
    finish(
        visit,
        by=by,
        verb="amend_reading",
        before=summary(reading),
        after=_told(amended),
        reason=amended.reason,
    )
    return amended


@transaction.atomic
def withdraw_reading(*, by: Person, reading: Reading, reason: str, token: str | None = None) -> Reading:
    """Take a reading away without putting another in its place."""
    visit = reading.visit
    _open(by, visit)
    _check_current(reading)
    gone = Reading(
        visit=visit,
        slug=reading.slug,
        mast=reading.mast,
        position=reading.position,
        take=reading.take,
        value=None,
        written="",
        recorded_by=by,
        recorded_at=timezone.now(),
        replaces=reading,
        reason=given_reason(reason, 300),
        withdrawn=True,
        token=token,
    )
    gone.save(force_insert=True)
    after = {"row_sha256": row_sha256(gone)}
    finish(visit, by=by, verb="withdraw_reading", before=summary(reading), after=after, reason=gone.reason)
    return gone


@transaction.atomic
def undo_reading(*, by: Person, visit: Visit, reading: Reading | None = None, token: str | None = None) -> Reading:
    """Take back what this person stored last, or `reading` where that is it: the former value, or none, counts again.

    Nothing is erased: the undoing is a row of its own. Once signed, only an amendment with a reason will do.
    """
    _open(by, visit)
    rules.check_never_signed(visit)
    last = undoable(by, visit)
    if last is None or (reading is not None and reading.pk != last.pk):
        raise WrongState("There is nothing of yours to undo here; amend the reading instead.")
    former = last.replaces
    undone = Reading(
        visit=visit, slug=last.slug, mast=last.mast, position=last.position, take=last.take, token=token, written=""
    )
    if former is None or former.withdrawn:
        undone.withdrawn = True
        written = Written(None, "", "")
    else:
        undone.instrument, undone.remark = former.instrument, former.remark
        written = Written(former.value, former.written, former.unit_written)
    _store(undone, written, by, last, UNDONE)
    after = {"row_sha256": row_sha256(undone)} if undone.withdrawn else _told(undone)
    finish(visit, by=by, verb="undo_reading", before=summary(last), after=after, reason=UNDONE)
    return undone


def undoable(by: Person, visit: Visit) -> Reading | None:
    """The last row this person stored that still counts and undoes nothing itself."""
    if visit.signed_at is not None:
        return None
    rows = visit.readings.filter(recorded_by=by, replaced_by__isnull=True).exclude(reason=UNDONE)
    return rows.select_related("instrument", "replaces__instrument").order_by("-pk").first()


def summary(reading: Reading) -> dict[str, str]:
    """A reading as the trail tells of it."""
    return {
        "reading": reading.slug,
        "mast": reading.mast,
        "position": reading.position,
        "take": str(reading.take),
        "value": text_of(reading.value),
        "written": f"{reading.written} {reading.unit_written}".strip(),
        "instrument": reading.instrument.identifier if reading.instrument else "",
        **({"remark": reading.remark} if reading.remark else {}),
    }


def _told(reading: Reading) -> dict[str, str]:
    """The same with the digest of its row: the register is verified by it."""
    return {**summary(reading), "row_sha256": row_sha256(reading)}


def _open(by: Person, visit: Visit) -> None:
    lock(visit)
    rules.check_state(visit, "write")
    rules.check_may_measure(by, visit)


def _rig(visit: Visit) -> Rig:
    if visit.rig is None:
        raise WrongState("The boat's rig has not been described yet, so nothing can be read on it.")
    return rig_inputs(visit.rig)


def _check_current(reading: Reading) -> None:
    if reading.withdrawn or Reading.objects.filter(replaces=reading).exists():
        raise WrongState("This reading has been replaced or taken away already; look at the one that counts now.")


def _check_instrument(visit: Visit, instrument: Instrument | None) -> None:
    day = visit.date or timezone.localdate()
    if instrument and instrument.out_of_use_since and instrument.out_of_use_since <= day:
        raise Unreadable(
            "Instrument",
            instrument.identifier,
            f"one that is in use; this one is out of use since {instrument.out_of_use_since.isoformat()}",
            "instrument",
        )


def _reason(visit: Visit, reason: str) -> str:
    if not reason.strip() and visit.state == VisitState.DRAFT and visit.signed_at is None:
        return BEFORE_SIGNATURE
    return given_reason(reason, 300)


def _remark(remark: str) -> str:
    return seen("Remark", remark, LONGEST_REMARK, "remark")


def _pk(instrument: Instrument | None) -> int | None:
    return instrument.pk if instrument else None


def _store(reading: Reading, written: Written, by: Person, replaces: Reading | None, reason: str) -> Reading:
    reading.value, reading.written, reading.unit_written = written.value, written.written, written.unit
    reading.recorded_by, reading.recorded_at = by, timezone.now()
    reading.replaces, reading.reason = replaces, reason
    reading.save(force_insert=True)
    return reading
