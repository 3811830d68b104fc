"""Which boat a sail number or a name means: sure, doubtful, or several. Never guessed.

Spacing, case, hyphens, leading zeros and missing national letters make no difference to a number, nor spacing, case,
accents and signs to a name. Other national letters, or a name that only begins alike, are doubtful.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from django.db import connection, models
from django.db.models import Case, IntegerField, Q, Value, When

from boats.bulk import given, parameter
from boats.models import Boat
from boats.names import normalise_name, normalise_sail_number
from office.lookups import begins_with

MOST = 20
SHORTEST_BEGINNING = 3  # letters of a name that are enough to call it begun alike


@dataclass(frozen=True, slots=True)
class Match:
    """One boat the text may mean. `how` says in words why; `sure` whether it may be taken for her without asking."""

    boat: Boat
    how: str
    sure: bool


def matches(text: str, boats: models.QuerySet[Boat] | None = None) -> list[Match]:
    """Boats the text may mean, the surest first, at most MOST; one query.

    A caller who must know the boat takes her only when exactly one match is sure.
    """
    number, digits = normalise_sail_number(text)
    name = normalise_name(text)
    wanted = Q()
    if number:
        wanted |= Q(sail_number_normal=number)
    if digits:
        wanted |= Q(sail_digits=digits)
    if name:
        wanted |= Q(name_normal=name)
    if len(name) >= SHORTEST_BEGINNING:
        wanted |= begins_with("name_normal", name)
    if not wanted:
        return []
    surest = Case(
        When(Q(sail_number_normal=number) | Q(name_normal=name), then=Value(0)),
        When(Q(sail_digits=digits) & ~Q(sail_digits=""), then=Value(1)),
        default=Value(2),
        output_field=IntegerField(),
    )
    found = (Boat.objects.all() if boats is None else boats).filter(wanted).order_by(surest, "name_normal", "pk")[:MOST]
    return [_match(boat, number, digits, name) for boat in found]


# ---- Many texts in one statement ----

_NEEDED = {"id", "key", "name", "sail_number", "sail_number_normal", "sail_digits", "name_normal"}
_COLUMNS = [one.attname for one in Boat._meta.concrete_fields if one.attname in _NEEDED]  # in the model's own order
# Each branch says how sure it is, as `matches` sorts: 0 the same number or name, 1 without letters, 2 begun alike.
_SAME = "SELECT given.key, boat.id, {sure} FROM {given} JOIN boats_boat AS boat ON boat.{column} = given.value"
_BEGUN_ALIKE = {  # an index's own order of signs: as `begins_with`, for a prefix that stands in a column
    "sqlite": "boat.name_normal >= given.value AND boat.name_normal < (given.value || char(1114111))",
    "postgresql": "boat.name_normal ~>=~ given.value AND boat.name_normal ~<~ (given.value || chr(1114111))",
}


def matches_of_many(texts: Sequence[str]) -> list[list[Match]]:
    """What `matches` finds for each text, in one statement however many they are; her other columns are left out."""
    wanted = [(*normalise_sail_number(text), normalise_name(text)) for text in texts]
    once = list(dict.fromkeys(wanted))
    longer = [name if len(name) >= SHORTEST_BEGINNING else "" for *_, name in once]
    columns = ([one[0] for one in once], [one[1] for one in once], [one[2] for one in once], longer)
    found: dict[tuple[str, str, str], list[Match]] = {one: [] for one in once}
    with connection.cursor() as cursor:
        cursor.execute(_statement(), [*(parameter(values) for values in columns), MOST])
        for place, *row in cursor.fetchall():
            found[once[place]].append(_match(Boat.from_db(None, _COLUMNS, row), *once[place]))
    return [found[one] for one in wanted]


def _statement() -> str:
    same = (("sail_number_normal", 0), ("sail_digits", 1), ("name_normal", 0))
    branches = [
        f"{_SAME.format(given=given(), column=column, sure=sure)} WHERE given.value <> ''" for column, sure in same
    ]
    begun = f"SELECT given.key, boat.id, 2 FROM {given()} JOIN boats_boat AS boat ON {_BEGUN_ALIKE[connection.vendor]}"  # noqa: S608
    branches.append(f"{begun} WHERE given.value <> ''")
    boat = ", ".join(f"boat.{column}" for column in _COLUMNS)
    return (
        f"WITH meant(place, boat, sure) AS ({' UNION ALL '.join(branches)}), "  # noqa: S608  (fixed names)
        "once AS (SELECT place, boat, MIN(sure) AS sure FROM meant GROUP BY place, boat), "
        "ranked AS (SELECT once.place, once.boat, ROW_NUMBER() OVER ("
        "PARTITION BY once.place ORDER BY once.sure, boat.name_normal, boat.id) AS rank "
        "FROM once JOIN boats_boat AS boat ON boat.id = once.boat) "
        f"SELECT ranked.place, {boat} FROM ranked JOIN boats_boat AS boat ON boat.id = ranked.boat "
        "WHERE ranked.rank <= %s ORDER BY ranked.place, ranked.rank"
    )


def only_sure(found: list[Match]) -> Boat | None:
    """The boat that is meant, where exactly one match is sure."""
    sure = [match.boat for match in found if match.sure]
    return sure[0] if len(sure) == 1 else None


def _match(boat: Boat, number: str, digits: str, name: str) -> Match:
    if boat.sail_number_normal == number:
        return Match(boat, "this sail number", sure=True)
    if name and boat.name_normal == name:
        return Match(boat, "this name", sure=True)
    if digits and boat.sail_digits == digits:
        letters_missing = digits in {number, boat.sail_number_normal}
        if letters_missing:
            return Match(boat, "this number, national letters missing", sure=True)
        return Match(boat, "this number with other national letters", sure=False)
    return Match(boat, "a name that begins alike", sure=False)
