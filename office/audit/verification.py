"""Walking the chain: does every row say what was hashed, follow the one before, and are all of them there?"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from django.db import connection

from office.audit import triggers
from office.audit.chain import COLUMNS, GENESIS, HASH, NUMBER, PREVIOUS, hash_of

CHUNK = 2_000
# A trail that is wrong throughout would otherwise fill the memory with sentences that all say the same.
MOST_FINDINGS = 200

_SELECT = f"SELECT {', '.join(COLUMNS)} FROM audit_entry WHERE number > %s ORDER BY number LIMIT {CHUNK}"  # noqa: S608  (fixed names)


@dataclass(frozen=True, slots=True)
class Finding:
    """Something that does not fit. `number` is the row's, or 0 where it is not about one row."""

    number: int
    sentence: str

    def __str__(self) -> str:
        return self.sentence


def verify(progress: Callable[[int], None] | None = None) -> list[Finding]:
    """Everything in the trail that does not fit; an empty list when all of it does.

    Hashes, numbering and links of every row, and the triggers of all tables that only grow. Reads the rows in chunks:
    memory does not grow with the trail. `progress` is called with the number reached after each chunk.
    """
    found = [Finding(0, sentence) for sentence in triggers.missing(connection)]
    number, hash_ = 0, GENESIS
    for chunk in _chunks():
        for row in chunk:
            if not _says_what_was_hashed(row) or row[NUMBER] != number + 1 or row[PREVIOUS] != hash_:
                found.extend(_misfits(row, number, hash_))
                if len(found) >= MOST_FINDINGS:
                    return [*found, Finding(0, f"The walk ended at row {row[NUMBER]}: too much does not fit.")]
            number, hash_ = row[NUMBER], row[HASH]
        if progress:
            progress(number)
    return found


def _chunks() -> Iterator[Sequence[Sequence[Any]]]:
    reached = -(2**63)  # a row slipped in before the first one is read as well
    with connection.cursor() as cursor:
        while True:
            cursor.execute(_SELECT, [reached])
            rows = cursor.fetchall()
            if rows:
                yield rows
            if len(rows) < CHUNK:
                return
            reached = rows[-1][NUMBER]


def _says_what_was_hashed(row: Sequence[Any]) -> bool:
    try:
        return bool(hash_of(row) == row[HASH])
    except (TypeError, UnicodeError):  # not even text stands where text belongs
        return False


def _misfits(row: Sequence[Any], number: int, hash_: str) -> Iterator[Finding]:
    """What is wrong with a row that should follow row `number` with that hash."""
    own = row[NUMBER]
    if not _says_what_was_hashed(row):
        yield Finding(own, f"Row {own} was altered: its hash is not that of what it says.")
    if own != number + 1:
        gap = f"row {number + 1} is" if own == number + 2 else f"rows {number + 1} to {own - 1} are"
        yield Finding(own, f"Before row {own}, {gap} missing." if own > number else f"Row {own} was slipped in.")
    elif row[PREVIOUS] != hash_:
        yield Finding(own, f"Row {own} does not follow row {number}: one of them was put there later.")
