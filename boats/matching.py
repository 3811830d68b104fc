"""Which boat a sail number or a name means: sure, doubtful, or several. Never guessed.

Spacing, case, hyphens, leading zeros and missing national letters make no difference to a number, nor spacing, case,
accents and signs to a name. Other national letters, or a name that only begins alike, are doubtful.
"""

from __future__ import annotations

from dataclasses import dataclass

from django.db import models
from django.db.models import Case, IntegerField, Q, Value, When

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
