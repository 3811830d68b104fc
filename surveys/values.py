"""What a person typed for a visit or a reading, read and bounded; the log sheet reader sets the same bounds."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection
from dataclasses import dataclass

from django.utils import timezone

from computations.catalogue import READINGS, SIDES, ReadingKind, masts_with
from computations.inputs import Rig
from office.audit.refusals import Refusal
from surveys.logsheet import cells, fields
from surveys.logsheet.table import UNSEEN

LONGEST_AHEAD = dt.timedelta(days=2 * 366)  # of a plan; a slipped digit, not a policy (common practice, no source)
_LINE_ENDS = str.maketrans("\r\n\t", "   ")


class Unreadable(Refusal):
    """Something typed that cannot be taken: what was found, what was expected, and in which field."""

    status = 400

    def __init__(self, what: str, found: str, expected: str, field: str = "value") -> None:
        super().__init__(f"{what}: found {found!r}, expected {expected}." if found else f"{what}: expected {expected}.")
        self.found = found
        self.expected = expected
        self.field = field


@dataclass(frozen=True, slots=True)
class Written:
    """A value in mm or kg, with the text and unit it was written in."""

    value: float | None  # None of a reading taken away
    written: str
    unit: str


def kind_of(slug: str) -> ReadingKind:
    kind = READINGS.get(slug)
    if kind is None:
        raise Unreadable("Reading", slug, "one of the catalogue's readings", "slug")
    return kind


def read_value(kind: ReadingKind, text: str, unit: str = "") -> Written:
    """The value in the kind's own unit. Raises Unreadable with what was expected."""
    text, unit = text.strip(), unit.strip()
    if not text:
        raise Unreadable(kind.name, "", _example(kind))
    if len(text) > fields.LONGEST_WRITTEN:
        raise Unreadable(
            kind.name, text[: fields.LONGEST_WRITTEN] + "…", f"at most {fields.LONGEST_WRITTEN} characters"
        )
    try:
        amount = cells.quantity(text, unit, kind.quantity)
        largest = fields.LARGEST_MASS_KG if kind.quantity == "mass" else fields.LARGEST_LENGTH_MM
        if amount < 0 and not kind.may_be_negative:
            raise cells.Unfit("a value that is not negative")
        if amount == 0 and kind.slug not in fields.MAY_BE_NOUGHT:
            raise cells.Unfit("a value greater than nought")
        cells.within(amount, -largest, largest, kind.unit)
    except cells.Unfit as unfit:
        raise Unreadable(kind.name, text if unfit.column == "value" else unit, unfit.expected, unfit.column) from None
    return Written(float(amount), text, unit)


def unit_beside(kind: ReadingKind, value: str, unit: str) -> str:
    """The unit chosen beside the value; none where the value says its own and the choice is only the usual one."""
    says_its_own = any(sign.isalpha() or sign in "'\"′″’”" for sign in value)
    return "" if says_its_own and unit == kind.unit else unit


def _example(kind: ReadingKind) -> str:
    return (
        "a weight such as 142.5 or 314 lb" if kind.quantity == "mass" else "a length such as 15286 or 50 ft 1 13/16 in"
    )


def check_place(kind: ReadingKind, rig: Rig, mast: str, position: str, take: int) -> None:
    """Raise Unreadable unless this rig can have the reading there: mast, side or halyard, take."""
    if mast not in [one.name for one in masts_with(kind, rig)]:
        names = ", ".join(one.name for one in masts_with(kind, rig))
        raise Unreadable(kind.name, mast, f"a mast of this rig that bears it ({names})", "mast")
    described = rig.mast(mast)
    if described is None or not kind.applies(rig, described):
        raise Unreadable(kind.name, mast, "a reading this rig has; correct the rig's description if she has it", "mast")
    if kind.sides and position not in SIDES:
        raise Unreadable(kind.name, position, "port or starboard", "position")
    if kind.named_position and not position.strip():
        raise Unreadable(kind.name, "", "the halyard's name", "position")
    if not kind.sides and not kind.named_position and position:
        raise Unreadable(kind.name, position, "no position for this reading", "position")
    if len(position) > fields.LONGEST_POSITION:
        raise Unreadable(kind.name, position, f"at most {fields.LONGEST_POSITION} characters", "position")
    if not 1 <= take <= fields.MOST_TAKES:
        raise Unreadable(kind.name, str(take), f"a take from 1 to {fields.MOST_TAKES}", "take")


def check_more_places(kind: ReadingKind, position: str, named: Collection[str]) -> None:
    """Raise Unreadable where `position` would be one name more than a mast has; `named` are those there are."""
    if kind.named_position and position not in named and len(named) >= fields.MOST_POSITIONS:
        raise Unreadable(kind.name, position, f"at most {fields.MOST_POSITIONS} names on one mast", "position")


def seen(what: str, text: str, longest: int, field: str, *, lines: bool = False) -> str:
    """The text without blanks round it. Raises Unreadable where it is too long, or where a sign in it cannot be seen:
    controls and overrides of the writing direction read as something else and have no place in a file or on paper.
    """
    tidy = text.strip()
    if len(tidy) > longest:
        raise Unreadable(what, tidy[:40] + "…", f"at most {longest} characters", field)
    if hidden := UNSEEN.search(text.translate(_LINE_ENDS) if lines else text):
        raise Unreadable(what, f"U+{ord(hidden[0]):04X}", "text without control characters", field)
    return tidy


def read_temperature(text: str, unit: str = "degC") -> float:
    """Degrees Celsius within what a boatyard sees. Raises Unreadable."""
    field = fields.VISIT_FIELDS["air_temperature"]
    try:
        return float(cells.temperature_c(text.strip(), unit, field))
    except cells.Unfit as unfit:
        raise Unreadable("Air temperature", text, unfit.expected, "air_temperature") from None


def check_date(day: dt.date, what: str = "Date") -> dt.date:
    """A visit's day is today or past. Raises Unreadable."""
    today = timezone.localdate()
    if day > today:
        raise Unreadable(what, day.isoformat(), f"a date that is not in the future (today is {today})", "date")
    if day < cells.EARLIEST:
        raise Unreadable(what, day.isoformat(), f"a date from {cells.EARLIEST} on", "date")
    return day


def check_plan_day(day: dt.date) -> dt.date:
    """A visit is planned for a day within reach, or noted for one that is past. Raises Unreadable."""
    latest = timezone.localdate() + LONGEST_AHEAD
    if not cells.EARLIEST <= day <= latest:
        raise Unreadable("Day", day.isoformat(), f"a date from {cells.EARLIEST} to {latest}", "planned_on")
    return day


def check_temperature(celsius: float) -> float:
    field = fields.VISIT_FIELDS["air_temperature"]
    if not field.least <= celsius <= field.most:  # also refuses NaN
        raise Unreadable(
            "Air temperature", f"{celsius:g}", f"from {field.least:g} to {field.most:g} degC", "air_temperature"
        )
    return celsius
