"""What is asked of the register of boats."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from functools import reduce
from operator import or_
from typing import TYPE_CHECKING, Any

from django.db import models
from django.db.models import Count, Exists, OuterRef, Q, Subquery, Value
from django.db.models.functions import Coalesce, Upper
from django.utils import timezone

from boats.models import Access, Boat, Design, DesignLimit, Mast, Ownership, Rig
from boats.names import name_words, normalise_name, normalise_sail_number
from boats.rules import SEES_EVERY_BOAT, on_day
from office.lookups import begins_with
from office.people.models import Person, Role

if TYPE_CHECKING:
    from django.contrib.auth.models import AnonymousUser


def boats_visible_to(person: Person | AnonymousUser) -> models.QuerySet[Boat]:
    """Measurers and the office: every boat. Owners and skippers: theirs of today. Anyone else: none."""
    if not isinstance(person, Person):
        return Boat.objects.none()
    if person.holds(*SEES_EVERY_BOAT):
        return Boat.objects.all()
    if person.holds(Role.OWNER):
        today = on_day(timezone.localdate())
        owned = Ownership.objects.filter(today, boat=OuterRef("pk"), person=person)
        entrusted = Access.objects.filter(today, boat=OuterRef("pk"), person=person)
        return Boat.objects.filter(Exists(owned) | Exists(entrusted))
    return Boat.objects.none()


NAME_COLUMNS = ("name_normal", "name_from_2", "name_from_3", "name_from_4")
MOST_LOOKED_THROUGH = 5000  # boats with the longest of several words, for those that bear the others as well
MOST_FOUND = 500  # on a page, of each kind: what fits half the register costs no more than what fits a few boats


def search(boats: models.QuerySet[Boat], text: str, *, most: int | None = MOST_FOUND) -> models.QuerySet[Boat]:
    """Boats whose sail number, with or without its national letters, or whose name begins with the text.

    A name also from its second, third or fourth word on; of several words each may begin any of the boat's. Every part
    is a range of an index and stops at `most`: narrow `boats` down before, not the answer.
    """
    if not text.strip():
        return boats
    number, digits = normalise_sail_number(text)
    words = name_words(text)
    name = normalise_name(text)
    if not (number or name):
        return boats.none()
    wanted = [begins_with("sail_number_normal", number), begins_with("sail_digits", number)]
    if digits and digits != number:  # a boat registered without national letters
        wanted.append(Q(sail_number_normal=digits))
    if name:
        wanted += [begins_with(column, name) for column in NAME_COLUMNS]
    parts = [_rows(_first(boats.filter(condition), most)) for condition in wanted]
    if len(words) > 1:
        parts += _by_words(boats, words, None if most is None else MOST_LOOKED_THROUGH)
    return boats.filter(pk__in=parts[0].union(*parts[1:]))


def _by_words(boats: models.QuerySet[Boat], words: list[str], most: int | None) -> list[models.QuerySet[Boat, Any]]:
    """The longest word from an index, the others looked for in what it found."""
    longest, *others = sorted(words, key=len, reverse=True)
    parts = []
    for column in NAME_COLUMNS:
        rows = _rows(_first(boats.filter(begins_with(column, longest)), most))
        for word in others:
            rows = rows.filter(reduce(or_, [begins_with(each, word) for each in NAME_COLUMNS]))
        parts.append(rows)
    return parts


def _first(boats: models.QuerySet[Boat], most: int | None) -> models.QuerySet[Boat, Any]:
    return boats.order_by().values("pk")[:most]


def _rows(keys: models.QuerySet[Boat, Any]) -> models.QuerySet[Boat, Any]:
    """The boats of these rows, as a part of a union: a bound may stand within one, not at its end."""
    return Boat.objects.filter(pk__in=keys).values("pk").order_by()


def listed_designs(text: str = "") -> models.QuerySet[Design, Any]:
    """Designs with how many boats are built to each, and how many limits stand for it. They are few."""
    limits = DesignLimit.objects.filter(ended_at__isnull=True)
    designs = Design.objects.annotate(boat_count=_counted(Boat.objects.all()), limit_count=_counted(limits))
    return designs.filter(Q(name__istartswith=text) | Q(designer__istartswith=text)) if text else designs


def _counted(rows: models.QuerySet[Any]) -> Coalesce:
    of_each = rows.filter(design=OuterRef("pk")).order_by().values("design").annotate(n=Count("pk")).values("n")
    return Coalesce(Subquery(of_each), 0)


def current_rig(boat: Boat) -> Rig | None:
    return Rig.objects.filter(boat=boat, until__isnull=True).prefetch_related("masts").first()


def spar_places(identifications: Iterable[str]) -> dict[str, list[tuple[str, Rig]]]:
    """Every rig, former ones too, in which each of these spars is or was: identification to (what it is there, rig).

    A spar can move between boats. Case makes no difference; two queries, whatever the number of spars.
    """
    wanted = {text.upper(): text for text in identifications if text}
    places: dict[str, list[tuple[str, Rig]]] = defaultdict(list)
    if not wanted:
        return places
    marks = [Upper(Value(text)) for text in wanted]
    masts = (
        Mast.objects.alias(mast_upper=Upper("mast_identification"), boom_upper=Upper("boom_identification"))
        .filter(Q(mast_upper__in=marks) | Q(boom_upper__in=marks))
        .select_related("rig__boat")
    )
    for mast in masts:
        for what, text in (("mast", mast.mast_identification), ("boom", mast.boom_identification)):
            if text.upper() in wanted:
                places[wanted[text.upper()]].append((what, mast.rig))
    rigs = Rig.objects.alias(upper=Upper("pole_identification")).filter(upper__in=marks).select_related("boat")
    for rig in rigs:
        places[wanted[rig.pole_identification.upper()]].append(("pole", rig))
    return places
