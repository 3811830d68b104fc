"""What is asked of the register of boats."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from typing import TYPE_CHECKING

from django.db import connections, models
from django.db.models import Exists, OuterRef, Q, Value
from django.db.models.functions import Upper
from django.utils import timezone

from boats.models import Boat, Mast, Ownership, Rig
from boats.names import normalise_name, normalise_sail_number
from boats.rules import SEES_EVERY_BOAT, on_day
from office.people.models import Person, Role

if TYPE_CHECKING:
    from django.contrib.auth.models import AnonymousUser


def boats_visible_to(person: Person | AnonymousUser) -> models.QuerySet[Boat]:
    """Measurers and the office: every boat. Owners: their own of today. Anyone else: none."""
    if not isinstance(person, Person):
        return Boat.objects.none()
    if person.holds(*SEES_EVERY_BOAT):
        return Boat.objects.all()
    if person.holds(Role.OWNER):
        owned = Ownership.objects.filter(on_day(timezone.localdate()), boat=OuterRef("pk"), person=person)
        return Boat.objects.filter(Exists(owned))
    return Boat.objects.none()


def begins_with(column: str, prefix: str) -> Q:
    """Rows whose column begins with a prefix, in the form each database answers from its index.

    SQLite's LIKE ignores case and therefore the index, a range does not; on PostgreSQL a range follows the
    language's order of letters, LIKE has an index of its own.
    """
    if connections["default"].vendor == "sqlite":
        return Q(**{f"{column}__gte": prefix, f"{column}__lt": prefix + "\U0010ffff"})
    return Q(**{f"{column}__startswith": prefix})


def search(boats: models.QuerySet[Boat], text: str) -> models.QuerySet[Boat]:
    """Boats whose name or sail number, with or without its national letters, begins with the text."""
    if not text.strip():
        return boats
    number, digits = normalise_sail_number(text)
    name = normalise_name(text)
    if not (number or name):
        return boats.none()
    found = Boat.objects.filter(begins_with("sail_number_normal", number)).values("pk").order_by()
    found = found.union(Boat.objects.filter(begins_with("sail_digits", number)).values("pk").order_by())
    if name:
        found = found.union(Boat.objects.filter(begins_with("name_normal", name)).values("pk").order_by())
    if digits and digits != number:  # a boat registered without national letters
        found = found.union(Boat.objects.filter(sail_number_normal=digits).values("pk").order_by())
    return boats.filter(pk__in=found)


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
