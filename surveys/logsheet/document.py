"""The log sheet as a document: rows in one canonical order, every text as the measurer wrote it.

Two files that say the same in another order of rows or columns are the same log sheet, written as the same bytes.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from computations.catalogue import READINGS, SIDES
from computations.inputs import MAST_NAMES
from surveys.logsheet.fields import INSTRUMENT_FIELDS, RECORDS, RIG_FIELDS, VISIT_FIELDS

_RECORD_ORDER = {record: index for index, record in enumerate(RECORDS)}
_MAST_ORDER = {"": 0, **{name: index for index, name in enumerate(MAST_NAMES, start=1)}}
_SIDE_ORDER = {side: index for index, side in enumerate(SIDES)}
_ITEM_ORDER = {
    record: {item: index for index, item in enumerate(items)}
    for record, items in (
        ("visit", VISIT_FIELDS),
        ("rig", RIG_FIELDS),
        ("instrument", INSTRUMENT_FIELDS),
        ("reading", READINGS),
    )
}


@dataclass(frozen=True, slots=True)
class Row:
    """One row. `mast` is empty where the row is about no single mast; `take` counts only on a reading."""

    record: str
    item: str
    value: str
    unit: str = ""
    mast: str = ""
    position: str = ""
    take: int = 1
    instrument: str = ""
    remark: str = ""
    line: int = field(default=0, compare=False)  # where it stood in the file it came from; 0: in none

    @property
    def order(self) -> tuple[int, str, int, int, int, str, int]:
        """Where the row stands: description before readings, each item in the order of its table."""
        item = _ITEM_ORDER[self.record][self.item]
        mast = _MAST_ORDER[self.mast]
        if self.record == "rig":
            return (1, "", mast, item, 0, "", 0)
        instrument = self.instrument if self.record == "instrument" else ""
        side = _SIDE_ORDER.get(self.position, len(SIDES))
        return (_RECORD_ORDER[self.record], instrument, item, mast, side, self.position, self.take)


@dataclass(frozen=True, slots=True)
class LogSheet:
    """One visit as its file says it. Build it with `LogSheet.of`, which puts the rows into canonical order."""

    rows: tuple[Row, ...]

    @classmethod
    def of(cls, rows: Iterable[Row]) -> LogSheet:
        return cls(tuple(sorted(rows, key=lambda row: row.order)))

    def record(self, record: str) -> tuple[Row, ...]:
        """The rows of one record: visit, rig, instrument or reading."""
        return tuple(row for row in self.rows if row.record == record)

    def visit(self, item: str) -> Row | None:
        return next((row for row in self.rows if row.record == "visit" and row.item == item), None)

    def rig(self, item: str, mast: str = "") -> Row | None:
        """The row that describes this item of the rig; `mast` stays empty for what describes the rig as a whole."""
        return next(
            (row for row in self.rows if row.record == "rig" and row.item == item and row.mast == mast),
            None,
        )
