"""An entry list of 2,000 against a register of 100,000: matched, and from its bytes to the page.

Seven in ten entries are as registered, two have a slip both in the number and in the name, one is of no boat here.
"""

from __future__ import annotations

import datetime as dt
import random
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

from django.apps import apps
from django.conf import settings
from django.contrib.auth.models import AnonymousUser
from django.db import connection, connections
from django.test import RequestFactory, override_settings

from boats import near
from boats.bulk import given, parameter
from boats.list_matching import match_list
from boats.models import Boat
from boats.names import normalise_sail_number
from boats.particulars import as_columns
from office.certificates.models import Certificate
from office.management.benchmarks import Benchmark
from office.management.benchmarks.search import LARGE, fresh_database
from office.people.models import Person
from office.racing import entry_file, event_pages, results, statements
from office.racing.checking import check_entries
from office.racing.models import EntryList, Event
from surveys.models import Visit

ENTRIES, SMALL = 2_000, 1_000
FIRST_DAY, LAST_DAY = dt.date(2026, 6, 5), dt.date(2026, 6, 7)
NATIONS = ("QUA", "SKE", "QVL", "ORV", "TAM", "HVS", "WES", "LUN", "BRE", "NOX")
SYLLABLES = (
    "ba",
    "do",
    "fe",
    "gri",
    "hal",
    "ken",
    "lo",
    "mar",
    "nin",
    "os",
    "pel",
    "qui",
    "ra",
    "sel",
    "tor",
    "un",
    "wy",
)
PLAIN_FILES = "django.contrib.staticfiles.storage.StaticFilesStorage"
LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"


@dataclass(frozen=True)
class Filled:
    """A database with a register of some size, and the list that is checked against it."""

    alias: str
    lines: tuple[tuple[str, str], ...]
    content: bytes


FILLED: dict[int, Filled] = {}


def filled(size: int) -> Filled:
    """The tables of the whole office in a database of its own; certificates for the boats of the list."""
    if size not in FILLED:
        dice = random.Random(size)  # noqa: S311 - invented data
        alias = fresh_database(f"entries_{size}", [one for one in apps.get_models() if one._meta.managed])
        with instead(alias):
            boats = Boat.objects.bulk_create(_boats(dice, size), batch_size=5_000)
            near.bring_up_to_date()
            entered = [dice.choice(boats) for _ in range(ENTRIES)]
            _certify(dict.fromkeys(entered))
        lines = tuple(_line(dice, boat) for boat in entered)
        content = "sail_number,boat\n" + "".join(f"{number},{name}\n" for number, name in lines)
        FILLED[size] = Filled(alias, lines, content.encode())
    return FILLED[size]


@contextmanager
def instead(alias: str) -> Iterator[None]:
    """That database in the place of the office's, for whatever asks inside the block."""
    own = connections["default"]
    connections["default"] = connections[alias]
    try:
        yield
    finally:
        connections["default"] = own


def _boats(dice: random.Random, size: int) -> Iterator[Boat]:
    numbers = dice.sample(range(1_000_000), size)
    for number in numbers:
        sail_number = f"{NATIONS[number % 10]} {number // 10 + 1}"
        yield Boat(**as_columns({"name": _name(dice), "sail_number": sail_number}))


def _name(dice: random.Random) -> str:
    words = ("".join(dice.choices(SYLLABLES, k=dice.choice((1, 2, 2, 3)))).capitalize() for _ in range(2))
    return " ".join(words)


def _certify(boats: dict[Boat, None]) -> None:
    person = Person.objects.create(email="entries@office.example", name="Bench")
    visits = Visit.objects.bulk_create(Visit(boat=boat, measurer=person) for boat in boats)
    begun = dt.datetime(2026, 1, 4, 9, tzinfo=dt.UTC)
    Certificate.objects.bulk_create(
        Certificate(
            number=f"BE-2026-{place:05}", boat=visit.boat, visit=visit, issued_at=begun, issued_by=person,
            valid_from=begun.date(), valid_until=dt.date(2026, 12, 31), in_force_before=dt.date(2027, 1, 1),
            snapshot="{}", snapshot_sha256="0" * 64, trail_head="0" * 64,
        )
        for place, visit in enumerate(visits)
    )  # fmt: skip


def _line(dice: random.Random, boat: Boat) -> tuple[str, str]:
    chance = dice.random()
    if chance < 0.7:
        return boat.sail_number, boat.name
    if chance < 0.9:
        return _slip(dice, boat.sail_number, "0123456789"), _slip(dice, boat.name, LETTERS)
    return f"ZZZ {dice.randrange(100_000)}", _name(dice)


def _slip(dice: random.Random, text: str, signs: str) -> str:
    """Another sign in one place."""
    place = dice.randrange(len(text) - 2, len(text))
    return text[:place] + dice.choice(signs) + text[place + 1 :]


def joined(size: int) -> Callable[[], object]:
    """The one bare statement: for each number the boat that bears it, with what a list says of her."""
    register = filled(size)
    numbers = [normalise_sail_number(number)[0] for number, _ in register.lines]
    statement = (
        f"SELECT given.key, boat.id, boat.key, boat.name, boat.sail_number, boat.name_normal FROM {given()} "  # noqa: S608  (fixed names)
        "LEFT JOIN boats_boat AS boat ON boat.sail_number_normal = given.value"
    )

    def run() -> object:
        with instead(register.alias), connection.cursor() as cursor:
            cursor.execute(statement, [parameter(numbers)])
            return cursor.fetchall()

    return run


def matched(size: int) -> Callable[[], object]:
    register = filled(size)

    def run() -> object:
        with instead(register.alias):
            return match_list(register.lines)

    return run


def shown(size: int) -> Callable[[], object]:
    """From the bytes of the file to the text of the page, standing on every day included."""
    register = filled(size)
    plain = {**settings.STORAGES, "staticfiles": {"BACKEND": PLAIN_FILES}}
    override_settings(STORAGES=plain).enable()  # a scratch office has collected no static files
    request = RequestFactory().get("/events/x/")
    request.user = AnonymousUser()
    event = Event(key="x", name="Bench", first_day=FIRST_DAY, last_day=LAST_DAY, rules_edition="2025_2028")
    entry_list = EntryList(event=event, number=1, taken_by=Person(name="Bench"), size=ENTRIES, filename="list.csv")
    about: dict[str, Any] = {"event": event, "entry_list": entry_list, "deadline": statements.deadline_of(event)}

    def run() -> object:
        with instead(register.alias):
            file = entry_file.read(register.content, "list.csv")
            found = check_entries(file.entries, FIRST_DAY, LAST_DAY)
        page = {
            **about, "counts": results.count(found), "size": len(found), "shown": len(found), "wanted": "",
        }  # fmt: skip
        rows = event_pages.rows(found, "/events/x/entries/0/")
        return event_pages.page(request, "racing/events/event.html", page, rows)

    return run


LIST = f"{ENTRIES} entries against {LARGE} boats"
BENCHMARKS = [
    Benchmark(
        name="entry_match",
        ours=f"{LIST}: numbers, names, near numbers and near names; what is doubtful is offered",
        peer="one bare join of the same list with the sail numbers",
        prepare=lambda: (matched(LARGE), joined(LARGE)),
        at_most=7.0,
        calls=3,
        database=True,
    ),
    Benchmark(
        name="entry_page",
        ours=f"{LIST}: from the bytes of the file to the text of the page, with each boat's standing on every day",
        peer="one bare join of the same list with the sail numbers",
        prepare=lambda: (shown(LARGE), joined(LARGE)),
        at_most=12.0,
        calls=3,
        database=True,
    ),
    Benchmark(
        name="entry_growth",
        ours=f"{LIST}: matched",
        peer=f"the same against {SMALL} boats",
        prepare=lambda: (matched(LARGE), matched(SMALL)),
        at_most=2.0,
        calls=3,
        database=True,
    ),
    Benchmark(
        name="entry_page_growth",
        ours=f"{LIST}: from the bytes of the file to the text of the page",
        peer=f"the same against {SMALL} boats",
        prepare=lambda: (shown(LARGE), shown(SMALL)),
        at_most=2.0,
        calls=3,
        database=True,
    ),
]
