"""What is a boat's own: her words in the pattern, the slot of each, and what each likeness of her has there instead."""

from __future__ import annotations

import base64
import random
from collections import Counter, defaultdict
from typing import Any

from office.certificates.models import Certificate
from office.demo.synthetic import names
from office.demo.synthetic.pattern import Pattern, Table
from office.demo.synthetic.stencils import Line, Row, Values, Words, row_of
from office.people.models import Person
from surveys.models import SignOff

NAME, SAIL_NUMBER, HULL_NUMBER, SERIAL, OWNER, ADDRESS = range(6)
NUMBERED, SUBJECT = 6, 7  # of the row of the trail that is being written: where it stands, and a subject's number
FIRST_KEY = 8
KEY_BYTES, KEY_SIGNS = 12, 16
CERTIFICATES, SIGN_OFFS = Certificate._meta.db_table, SignOff._meta.db_table


class Part:
    """One boat of the pattern as a stencil: her rows by table, and the slots of her words."""

    def __init__(self, pattern: Pattern, boat: int) -> None:
        self.boat = boat
        self.rows: dict[str, list[tuple[Any, ...]]] = {
            name: [row for row in table.rows if pattern.whose.get((name, row[0])) == boat]
            for name, table in pattern.tables.items()
        }
        self.words = Words()
        self.key_slots: list[int] = []
        self.hash_slots: list[int] = []  # hashes of tokens nobody knows
        self.number_slots: list[int] = []  # of certificates, in the order of issue
        self.slots: dict[str, int] = {}
        self._size = FIRST_KEY
        demo = pattern.boats[boat]
        self.hull_number = demo.hin
        own = {demo.name: NAME, demo.sail_number: SAIL_NUMBER, demo.hin: HULL_NUMBER, f"{demo.serial}-": SERIAL}
        person = pattern.tables[Person._meta.db_table]
        owner = self.rows[person.name][0]
        own |= {owner[person.at("name")]: OWNER, owner[person.at("email")]: ADDRESS}
        for word, slot in own.items():
            self.words.add(word, slot)
        self._own: list[str] = []
        for name, table in pattern.tables.items():
            for row in self.rows[name]:
                self._words_of(table, row)

    def _words_of(self, table: Table, row: tuple[Any, ...]) -> None:
        for column, into in (("key", self.key_slots), ("token_sha256", self.hash_slots)):
            if column in table.columns:
                into.append(self.slot(str(row[table.at(column)])))
                self._own.append(str(row[table.at(column)]))
        if table.name == CERTIFICATES:
            self.number_slots.append(self.slot(str(row[table.at("number")])))
            self.slot(str(row[table.at("snapshot_sha256")]))
            self.slot(str(row[table.at("trail_head")]))
        if table.name == SIGN_OFFS:
            self.slot(str(row[table.at("content_sha256")]))

    @property
    def own(self) -> list[str]:
        """The words by which a row of the trail is known to speak of this boat: keys, numbers and addresses."""
        return self._own

    def slot(self, word: str) -> int:
        """The slot of a word, made where there is none yet."""
        if word not in self.slots:
            self.slots[word] = self._size
            self.words.add(word, self._size)
            self._size += 1
        return self.slots[word]

    def values(self, number: int, likeness: int, certificates: list[tuple[str, int]], dice: random.Random) -> Values:
        """Of the boat with that number among all. `certificates`: head and running number of the first likeness's."""
        values = [""] * self._size
        values[NAME], values[SAIL_NUMBER] = names.boat_name(number), names.sail_number(number)
        values[HULL_NUMBER] = names.hull_number(number, self.hull_number)
        values[SERIAL] = f"{100_000 + number}-"
        values[OWNER], values[ADDRESS] = names.owner_name(number), names.owner_address(number)
        keys = base64.urlsafe_b64encode(dice.randbytes(KEY_BYTES * len(self.key_slots))).decode()
        for at, slot in enumerate(self.key_slots):
            values[slot] = keys[at * KEY_SIGNS : (at + 1) * KEY_SIGNS]
        for slot in self.hash_slots:
            values[slot] = dice.randbytes(32).hex()
        for slot, (head, running) in zip(self.number_slots, certificates, strict=True):
            values[slot] = f"{head}{running + likeness:04d}"
        return values


class Cast:
    """All parts, and how many likenesses of each there are: boat number = likeness * parts + part."""

    def __init__(self, pattern: Pattern, boats: int, seed: int) -> None:
        self.pattern, self.boats = pattern, boats
        self.parts = [Part(pattern, boat) for boat in range(len(pattern.boats))]
        self.likenesses = [
            len(range(part.boat, boats, len(self.parts))) for part in self.parts
        ]  # those of the first few may be one more
        self.lines = self._lines()
        self.issued = self._number_certificates()
        dice = random.Random(seed)  # noqa: S311 - invented data, no secret
        self.lives: list[list[Values]] = [[] for _ in self.parts]
        for number in range(boats):
            likeness, boat = divmod(number, len(self.parts))
            part = self.parts[boat]
            self.lives[boat].append(part.values(number, likeness, self.issued[boat], dice))

    def _lines(self) -> dict[tuple[str, Any], Line]:
        """(table, number in the pattern) -> the numbers of that row in all likenesses."""
        lines: dict[tuple[str, Any], Line] = {}
        for name, table in self.pattern.tables.items():
            step = sum(len(part.rows[name]) for part in self.parts)
            if not step or name == CERTIFICATES:
                continue
            following = max(row[0] for row in table.rows) + 1
            for part in self.parts:
                for row in part.rows[name]:
                    lines[name, row[0]] = Line(following, step)
                    following += 1
        return lines

    def _number_certificates(self) -> list[list[tuple[str, int]]]:
        """Rows and numbers of certificates in the order of issue, as the office gives them; fills in their lines."""
        table = self.pattern.tables[CERTIFICATES]
        number, row_number = table.at("number"), 1
        running: Counter[str] = Counter()
        issued: dict[int, list[tuple[str, int]]] = defaultdict(list)
        for row in sorted(table.rows):  # the order of rows is that of issue
            boat = self.pattern.whose[CERTIFICATES, row[0]]
            head = str(row[number]).rpartition("-")[0] + "-"
            issued[boat].append((head, running[head] + 1))
            running[head] += self.likenesses[boat]
            self.lines[CERTIFICATES, row[0]] = Line(row_number, 1)
            row_number += self.likenesses[boat]
        return [issued[boat] for boat in range(len(self.parts))]

    def row(self, part: Part, table: Table, row: tuple[Any, ...], *, leave: tuple[str, ...] = ()) -> Row:
        """A row of the pattern as a row with holes."""
        numbers = [(0, self.lines[table.name, row[0]])]
        for at, name in table.leads_to.items():
            if (name, row[at]) in self.lines:
                numbers.append((at, self.lines[name, row[at]]))
        return row_of(row, part.words, numbers, leave=[table.at(column) for column in leave])
