"""What stands before the trail is walked: the office's own rows, then each boat's, her owner's, and her visits'."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any, NamedTuple

from boats import near
from boats.models import Boat, NearSpelling
from boats.particulars import as_columns
from office.audit.models import Entry
from office.certificates.models import Seal
from office.demo.synthetic.cast import CERTIFICATES, NAME, SAIL_NUMBER, SIGN_OFFS, Cast, Part
from office.demo.synthetic.pattern import Table
from office.demo.synthetic.stencils import Row, Values

TRAIL, SEALS, BOATS = Entry._meta.db_table, Seal._meta.db_table, Boat._meta.db_table
IN_TIME = {TRAIL, SIGN_OFFS, CERTIFICATES, SEALS}  # written as the trail comes to them
AT_ONCE = 40  # likenesses of each part in one batch


class Batch(NamedTuple):
    """Rows for one table."""

    table: str
    columns: tuple[str, ...]
    rows: Iterable[Any]


def batches(cast: Cast) -> Iterator[Batch]:
    """In an order in which no key leads to a row that is not there yet. Each is consumed before the next is asked."""
    yield from _office(cast)
    stencils = _stencils(cast)
    rounds = max(cast.likenesses)
    for begin in range(0, rounds, AT_ONCE):
        span = range(begin, min(begin + AT_ONCE, rounds))
        for table, rows in stencils:
            yield Batch(table.name, table.columns, _rows(cast, table, rows, span))
        yield Batch(NearSpelling._meta.db_table, ("boat_id", "mark"), _near(cast, span))


def _office(cast: Cast) -> Iterator[Batch]:
    """What is the office's and no boat's: staff, instruments, designs, policy, keys."""
    for table in cast.pattern.tables.values():
        rows = [row for row in table.rows if (table.name, row[0]) not in cast.pattern.whose]
        if rows and table.name not in IN_TIME:
            yield Batch(table.name, table.columns, rows)


Stencils = list[tuple[Part, list[Row]]]


def _stencils(cast: Cast) -> list[tuple[Table, Stencils]]:
    found = []
    for table in cast.pattern.tables.values():
        if table.name not in IN_TIME:
            rows = [(part, [cast.row(part, table, row) for row in part.rows[table.name]]) for part in cast.parts]
            if any(some for _, some in rows):
                found.append((table, rows))
    return found


def _rows(cast: Cast, table: Table, stencils: Stencils, span: range) -> Iterator[list[Any]]:
    for likeness in span:
        for part, rows in stencils:
            if likeness < cast.likenesses[part.boat]:
                values = cast.lives[part.boat][likeness]
                for one in rows:
                    row = one.fill(values, likeness)
                    if table.name == BOATS:
                        _as_matched(row, table, values)
                    yield row


def _as_matched(row: list[Any], table: Table, values: Values) -> None:
    """The forms a boat is found by, and that she is indexed under them."""
    forms = _forms(values)
    forms |= {"near_number": forms["sail_number_normal"], "near_name": forms["name_normal"]}
    for column, form in forms.items():
        row[table.at(column)] = form


def _near(cast: Cast, span: range) -> Iterator[tuple[int, int]]:
    """The index over near spellings, as `boats.near` would make it."""
    for likeness in span:
        for part in cast.parts:
            if likeness < cast.likenesses[part.boat]:
                line = cast.lines[BOATS, part.rows[BOATS][0][0]]
                forms = _forms(cast.lives[part.boat][likeness])
                for mark in near.marks_of(forms["sail_number_normal"], forms["sail_digits"], forms["name_normal"]):
                    yield line.first + likeness * line.step, mark


def _forms(values: Values) -> dict[str, str]:
    return as_columns({"name": values[NAME], "sail_number": values[SAIL_NUMBER]})
