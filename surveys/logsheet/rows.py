"""Each row on its own: which record it is, whether its cells fit that record, and its canonical form."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from typing import NamedTuple

from computations.catalogue import READINGS, ReadingKind, reading_by_item
from computations.inputs import MAST_NAMES
from computations.units import MASSES
from surveys.logsheet import cells as forms
from surveys.logsheet.cells import Unfit
from surveys.logsheet.document import Row
from surveys.logsheet.errors import Findings
from surveys.logsheet.fields import (
    INSTRUMENT_FIELDS,
    LARGEST_LENGTH_MM,
    LARGEST_MASS_KG,
    LONGEST_INSTRUMENT,
    LONGEST_POSITION,
    LONGEST_REMARK,
    LONGEST_UNIT,
    LONGEST_WRITTEN,
    MAY_BE_NOUGHT,
    MOST_TAKES,
    RECORDS,
    RIG_FIELDS,
    VISIT_FIELDS,
    Field,
)
from surveys.logsheet.table import Cells

# Columns that say nothing on a record; `main` and take 1 are what an empty cell means anyway.
_UNUSED = {
    "visit": ("mast", "position", "take", "instrument"),
    "rig": ("position", "take", "unit", "instrument"),
    "instrument": ("mast", "position", "take"),
}
_MEANS_NOTHING = {"mast": "main", "take": "1"}
_FIELDS = {"visit": VISIT_FIELDS, "rig": RIG_FIELDS, "instrument": INSTRUMENT_FIELDS}


class NumberedRow(NamedTuple):
    """A row and where it stands in the file. `mast_given` is false where an empty cell stood for a mast."""

    number: int
    row: Row
    mast_given: bool = True


class RowReader:
    """Reads rows one by one; what does not fit is noted in `findings`, and the row is then left out."""

    def __init__(self, findings: Findings, today: dt.date) -> None:
        self.findings = findings
        self.today = today

    def read(self, number: int, cells: Cells) -> NumberedRow | None:
        """The row in canonical form, or None where anything in it was refused."""
        before = len(self.findings)
        record = cells["record"].casefold()
        if record not in RECORDS:
            expected = forms.listed(RECORDS) + forms.nearest(record, RECORDS)
            self.findings.add(number, "record", cells["record"], expected)
            return None
        remark = self._try(number, cells, lambda: forms.text(cells["remark"], LONGEST_REMARK, "remark"))
        row = (self._reading if record == "reading" else self._described)(number, cells, record, remark or "")
        if row is None or len(self.findings) > before:
            return None
        return NumberedRow(number, row, bool(cells["mast"]))

    def _try(self, number: int, cells: Cells, form: Callable[[], str]) -> str | None:
        try:
            return form()
        except Unfit as unfit:
            self.findings.add(number, unfit.column, cells[unfit.column], unfit.expected)
            return None

    def _described(self, number: int, cells: Cells, record: str, remark: str) -> Row | None:
        """A visit, rig or instrument row."""
        for column in _UNUSED[record]:
            if cells[column] and cells[column].casefold() != _MEANS_NOTHING.get(column):
                self.findings.add(number, column, cells[column], f"an empty cell on a {record} row")
        item = cells["item"].casefold()
        field = _FIELDS[record].get(item)
        if field is None:
            known = tuple(_FIELDS[record])
            expected = f"an item of a {record} row: {forms.listed(known)}{forms.nearest(item, known)}"
            self.findings.add(number, "item", cells["item"], expected)
            return None
        mast = self._mast_of(number, cells, field) if record == "rig" else ""
        instrument = self._instrument(number, cells)
        if record == "instrument" and not cells["instrument"]:
            self.findings.add(number, "instrument", "", "the instrument's identifier")
        value = self._try(number, cells, lambda: self._value(cells, field))
        if value is None or mast is None or instrument is None:
            return None
        unit = cells["unit"]
        return Row(record, item, value, unit, mast=mast, instrument=instrument, remark=remark)

    def _mast_of(self, number: int, cells: Cells, field: Field) -> str | None:
        """Which mast a rig row describes; empty where it describes the rig as a whole."""
        if field.per_mast:
            return self._mast(number, cells)
        if cells["mast"] and cells["mast"].casefold() != "main":
            self.findings.add(number, "mast", cells["mast"], "an empty cell: this item describes the rig as a whole")
            return None
        return ""

    def _value(self, cells: Cells, field: Field) -> str:
        """The value of a visit, rig or instrument row in its canonical writing."""
        value, unit = cells["value"], cells["unit"]
        if not value:
            raise Unfit("a value, or no such row")
        if unit and field.form not in ("temperature", "length", "error"):
            raise Unfit("an empty cell: this item has no unit", "unit")
        match field.form:
            case "text":
                return forms.text(value, field.longest)
            case "word":
                return forms.word(value, field.words)
            case "yes_no":
                return forms.yes_no(value)
            case "date":
                return forms.date(value, self.today, future=field.future)
            case "count":
                return forms.whole(value, 0, int(field.most))
            case "temperature":
                # Only the day's own temperature must name its unit: 40 is a cold day or a hot one.
                forms.temperature_c(value, unit or ("degC" if cells["instrument"] else ""), field)
            case _:  # length, error
                forms.text(value, LONGEST_WRITTEN)
                kind = "length" if field.form == "length" else kind_of_unit(value, unit)
                amount = forms.quantity(value, unit, kind)
                forms.within(amount, field.least, field.most, forms.DEFAULT_UNITS[kind])
        return value

    def _reading(self, number: int, cells: Cells, record: str, remark: str) -> Row | None:
        kind = reading_by_item(cells["item"])
        if kind is None:
            known = (*READINGS, *(one.symbol for one in READINGS.values() if one.symbol))
            expected = f"a reading of the catalogue, by its name or symbol{forms.nearest(cells['item'], known)}"
            self.findings.add(number, "item", cells["item"], expected)
        mast = self._mast(number, cells)
        take = self._try(number, cells, lambda: forms.whole(cells["take"] or "1", 1, MOST_TAKES, "take"))
        instrument = self._instrument(number, cells)
        if kind is None:
            return None
        position = self._try(number, cells, lambda: _position(kind, cells["position"]))
        value = self._try(number, cells, lambda: _measured(kind, cells["value"], cells["unit"]))
        if mast is None or take is None or instrument is None or position is None or value is None:
            return None
        return Row(record, kind.slug, value, cells["unit"], mast, position, int(take), instrument, remark)

    def _mast(self, number: int, cells: Cells) -> str | None:
        return self._try(number, cells, lambda: forms.word(cells["mast"] or "main", MAST_NAMES, "mast"))

    def _instrument(self, number: int, cells: Cells) -> str | None:
        return self._try(number, cells, lambda: forms.text(cells["instrument"], LONGEST_INSTRUMENT, "instrument"))


def kind_of_unit(value: str, unit: str) -> str:
    """Whether an error of an instrument is a length or a mass, by its unit; without one it counts as a length."""
    name = unit or value.lstrip("+-0123456789., ")
    if name in MASSES:  # an everyday name: no need to load the unit library to be told so
        return "mass"
    try:
        forms.quantity(value, unit, "length")
    except Unfit:
        return "mass"
    return "length"


def _position(kind: ReadingKind, position: str) -> str:
    if kind.sides:
        return forms.word(position, kind.sides, "position")
    if kind.named_position:
        return forms.text(position, LONGEST_POSITION, "position")
    if position:
        raise Unfit("an empty cell: this reading has no side", "position")
    return ""


def _measured(kind: ReadingKind, value: str, unit: str) -> str:
    """The value as written, once it is known to be a length or mass within bounds."""
    forms.text(value, LONGEST_WRITTEN)
    forms.text(unit, LONGEST_UNIT, "unit")
    amount = forms.quantity(value, unit, kind.quantity)
    if amount < 0 and not kind.may_be_negative:
        raise Unfit("a value that is not negative")
    if amount == 0 and kind.slug not in MAY_BE_NOUGHT:
        raise Unfit("a value above 0")
    most = LARGEST_MASS_KG if kind.quantity == "mass" else LARGEST_LENGTH_MM
    forms.within(amount, -most, most, kind.unit)
    return value
