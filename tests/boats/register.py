"""A register of invented boats and an entry list of them with the slips people make, from a seed."""

from __future__ import annotations

import random
from dataclasses import dataclass

from boats.models import Boat
from boats.names import normalise_sail_number
from boats.particulars import as_columns

NATIONS = ("QUA", "SKE", "QVL", "ORV", "TAM")
FIRST = (
    "Grey", "Quiet", "Salt", "North", "Amber", "Long", "Second", "Old", "Wild", "Late", "Blue", "High", "Silver",
    "Little", "Far", "Slack", "Ebb", "Wet", "Cold", "True",
)  # fmt: skip
SECOND = (
    "Plover", "Margin", "Lark", "Heron", "Water", "Tide", "Compass", "Anchor", "Harbour", "Petrel", "Wind", "Moon",
    "Song", "Spar", "Reach", "Swell", "Lantern", "Kestrel", "Sound", "Pilot", "Gannet", "Whimbrel", "Fulmar",
)  # fmt: skip
LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"


@dataclass(frozen=True)
class Line:
    """An entry as written, the boat that is meant (None: she is not in the register), and what was done to it."""

    sail_number: str
    name: str
    boat: int | None
    slip: str


def make_register(dice: random.Random, size: int) -> list[Boat]:
    """Numbers lie close together in every nation, names come several times: any slip may be another boat's.

    No two boats share both their digits and their name, so that a number without its letters still means one.
    """
    boats, there = [], set()
    for place in range(size):
        nation, digits = NATIONS[place % len(NATIONS)], 100 + place // len(NATIONS)
        while (digits, name := _name(dice)) in there:
            pass
        there.add((digits, name))
        boats.append(Boat(**as_columns({"name": name, "sail_number": f"{nation} {digits}"})))
    return Boat.objects.bulk_create(boats)


def _name(dice: random.Random) -> str:
    name = f"{dice.choice(FIRST)} {dice.choice(SECOND)}"
    return name + dice.choice((" II", " III", " of Averell", " Too")) if dice.random() < 0.3 else name


def make_lines(dice: random.Random, boats: list[Boat], size: int) -> list[Line]:
    """Half as registered or written otherwise, four in ten with one slip, one in ten not registered."""
    lines = []
    for boat in dice.sample(boats, size):
        kind = dice.choices(("plain", "form", "number", "name", "both", "absent"), (30, 20, 14, 14, 12, 10))[0]
        if kind == "absent":
            lines.append(_absent(dice))
            continue
        number, name = boat.sail_number, boat.name
        if kind == "form":
            number, name = another_form(dice, number), dice.choice((name.upper(), name.replace(" ", "-"), f" {name}"))
        if kind in {"number", "both"}:
            number = slip(dice, number)
        if kind in {"name", "both"}:
            name = slip(dice, name)
        lines.append(Line(number, name, boat.pk, kind))
    return lines


def _absent(dice: random.Random) -> Line:
    nation = dice.choice((*NATIONS, "WES"))
    number = f"{nation} {dice.randint(2000, 9999)}"
    return Line(number, f"{dice.choice(FIRST)} {dice.choice(SECOND)}", None, "absent")


def another_form(dice: random.Random, number: str) -> str:
    """The same number to anybody who reads it."""
    nation, digits = number.split()
    return dice.choice(
        (
            f"{nation}{digits}",
            f"{nation.lower()}-{digits}",
            f"{nation}.{digits}",
            f"{nation} 0{digits}",
            digits,
            f" {digits} ",
        )
    )


def slip(dice: random.Random, text: str) -> str:
    """One sign too many, too few, another, or two neighbours swapped; never the same text to the matcher."""
    while True:
        place = dice.randrange(len(text))
        if text[place] == " ":
            continue
        signs = "0123456789" if text[place].isdigit() else LETTERS if text.isupper() else LETTERS.lower()
        kind = dice.randrange(4)
        if kind == 0:
            made = text[:place] + text[place + 1 :]
        elif kind == 1:
            made = text[:place] + dice.choice(signs) + text[place:]
        elif kind == 2:
            made = text[:place] + dice.choice(signs) + text[place + 1 :]
        else:
            made = text[:place] + text[place + 1 : place + 2] + text[place] + text[place + 2 :]
        if normalise_sail_number(made)[0] != normalise_sail_number(text)[0]:
            return made
