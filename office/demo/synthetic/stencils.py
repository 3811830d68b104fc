"""Rows with holes: what is a boat's own in them is filled in anew for each boat written after the pattern.

A text's holes are found by the words that only this boat has: her keys, her names, the hashes under her signatures.
Numbers of rows are a line: those of one boat's n-th likeness are `first + n * step`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from operator import itemgetter
from typing import Any, NamedTuple

Values = list[str]  # what goes into the holes of one boat, by slot


class Line(NamedTuple):
    """The numbers of one row in all likenesses of its boat."""

    first: int
    step: int


@dataclass(frozen=True, slots=True)
class Text:
    """A text with holes."""

    layout: str
    pick: Callable[[Values], Any]

    def fill(self, values: Values) -> str:
        filled: str = self.layout % self.pick(values)
        return filled


class Words:
    """Which words of a boat are holes, and the slot of each. Longer words are looked for first."""

    def __init__(self) -> None:
        self._slots: dict[str, int] = {}

    def add(self, word: str, slot: int) -> None:
        if word:
            self._slots[word] = slot

    def stencil(self, text: str, extra: dict[str, int] | None = None) -> Text | None:
        """None where the text has none of the words. `extra`: words that are holes in this text only."""
        known = self._slots | (extra or {})
        pieces: list[str | int] = [text]  # texts, and slots between them
        for word in sorted((word for word in known if word in text), key=len, reverse=True):
            apart: list[str | int] = []
            for piece in pieces:
                if isinstance(piece, int):
                    apart.append(piece)
                    continue
                for number, part in enumerate(piece.split(word)):
                    apart += [known[word], part] if number else [part]
            pieces = apart
        slots = [piece for piece in pieces if isinstance(piece, int)]
        if not slots:
            return None
        layout = "".join("%s" if isinstance(piece, int) else piece.replace("%", "%%") for piece in pieces)
        return Text(layout, itemgetter(*slots))


@dataclass(frozen=True, slots=True)
class Row:
    """A row of the pattern: its plain values, and the columns to be filled in."""

    plain: list[Any]
    numbers: tuple[tuple[int, Line], ...]
    texts: tuple[tuple[int, Text], ...]

    def fill(self, values: Values, likeness: int) -> list[Any]:
        row = self.plain.copy()
        for at, (first, step) in self.numbers:
            row[at] = first + likeness * step
        for at, text in self.texts:
            row[at] = text.layout % text.pick(values)
        return row


def row_of(
    plain: Sequence[Any],
    words: Words,
    numbers: Iterable[tuple[int, Line]] = (),
    *,
    leave: Iterable[int] = (),
    extra: dict[str, int] | None = None,
) -> Row:
    """`leave`: columns that stay plain, filled in by who asks. `extra`: as `Words.stencil` takes it."""
    left = set(leave)
    texts = [
        (at, words.stencil(value, extra))
        for at, value in enumerate(plain)
        if isinstance(value, str) and value and at not in left
    ]
    return Row(list(plain), tuple(numbers), tuple((at, text) for at, text in texts if text))
