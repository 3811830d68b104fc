"""Looking a boat up in a large register, against the same in a small one: an index keeps both near each other.

BENCH_BOATS (100,000 unless it says otherwise) is the size of the large one.
"""

from __future__ import annotations

import atexit
import os
from collections.abc import Callable, Iterable, Iterator
from typing import Any

from django.db import connection, connections, models

from boats.models import Boat, Design
from boats.particulars import as_columns
from boats.queries import search
from office.management.benchmarks import Benchmark

LARGE = int(os.environ.get("BENCH_BOATS", "100000"))
A_PAGE = 50
A_BATCH = 5000
FIRST, SIX_DIGITS = 100_000, 900_000
COLOURS = ("Blue", "Grey", "White", "Red", "Green", "Brown", "Black", "Golden", "Silver", "Amber")
MANNERS = ("Old", "Young", "Quiet", "Wild", "Late", "Early", "Proud", "Shy", "Bold", "Lone")
BIRDS = ("Heron", "Plover", "Tern", "Gannet", "Curlew", "Petrel", "Dunlin", "Avocet", "Kestrel", "Bittern")
SMALL: dict[int, str] = {}  # size -> alias of the database that holds such a register


def boats(count: int) -> Iterator[Boat]:
    """Names of three words that many share, and one that none does."""
    for number in range(count):
        words = (MANNERS[number // 100 % 10], COLOURS[number // 10 % 10], BIRDS[number % 10])
        name = f"{' '.join(words)} {own_word(number)}"
        yield Boat(**as_columns({"name": name, "sail_number": sail_number(number)}))


def sail_number(number: int) -> str:
    """Six digits each, so that none begins another; a letter once they are used up."""
    turn, rest = divmod(number, SIX_DIGITS)
    return f"QUA {FIRST + rest}{' ABC'[turn].strip()}"


def own_word(number: int) -> str:
    return f"X{number:07}".translate(str.maketrans("0123456789", "abcdefghij"))


def fill(alias: str, count: int) -> None:
    have = Boat.objects.using(alias).count()
    if have < count:
        Boat.objects.using(alias).bulk_create(boats(count), batch_size=A_BATCH)


def register_of(count: int) -> str:
    """The alias of a database of its own with a register of that size, dropped when the process ends."""
    if count not in SMALL:
        SMALL[count] = fresh_database(f"register_{count}", [Design, Boat])
        fill(SMALL[count], count)
    return SMALL[count]


def fresh_database(alias: str, tables: Iterable[type[models.Model]]) -> str:
    """A database of its own with empty tables of these models, dropped when the process ends; returns the alias."""
    given = {**connection.settings_dict, "TEST": {**connection.settings_dict["TEST"]}}
    name = str(given["NAME"])
    given["TEST"]["NAME"] = f"{name}.{alias}" if connection.vendor == "sqlite" else f"{name}_{alias}"
    connections.databases[alias] = given
    other = connections[alias]
    name = other.creation._create_test_db(verbosity=0, autoclobber=True)  # type: ignore[attr-defined]  # noqa: SLF001 - no migrations
    other.close()
    other.settings_dict["NAME"] = name
    atexit.register(dropped, alias, name)
    with other.schema_editor() as editor:
        for one in tables:
            editor.create_model(one)
    return alias


def dropped(alias: str, name: str) -> None:
    """On SQLite it lies beside the scratch database and goes with it."""
    if connection.vendor != "sqlite":
        connections[alias].creation.destroy_test_db(name, verbosity=0)


def looked_up(alias: str, text: str) -> Callable[[], list[Any]]:
    """The first page of the list, as searched for."""
    found = search(Boat.objects.using(alias), text).order_by("name_normal", "pk")
    return lambda: list(found.all()[:A_PAGE])


def pair(text: str, small: int) -> Callable[[], tuple[Callable[[], Any], Callable[[], Any]]]:
    def prepare() -> tuple[Callable[[], Any], Callable[[], Any]]:
        return looked_up(register_of(LARGE), text), looked_up(register_of(small), text)

    return prepare


BENCHMARKS = [
    Benchmark(
        name="sail_number_lookup",
        ours=f"a sail number looked up among {LARGE} boats",
        peer="the same among 1000",
        prepare=pair(sail_number(777), 1000),
        at_most=1.5,
        calls=50,
        database=True,
    ),
    Benchmark(
        name="name_search",
        ours=f"two words of a name, in another order than hers, searched for among {LARGE} boats",
        peer="the same among a tenth of them",
        prepare=pair(f"{own_word(777)[:7]} heron", LARGE // 10),
        at_most=2.0,
        calls=10,
        database=True,
    ),
    Benchmark(
        name="common_name_search",
        ours=f"a word that every tenth of {LARGE} boats bears",
        peer="the same among a tenth of them",
        prepare=pair("her", LARGE // 10),
        at_most=2.0,
        calls=10,
        database=True,
    ),
]
