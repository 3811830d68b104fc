"""Which long work a person sees: what they asked for themselves; an administrator sees all."""

from __future__ import annotations

from django.db.models import QuerySet

from office.people.models import Person, Role
from office.work.kinds import KINDS
from office.work.models import Work


def kinds_for(person: Person) -> list[tuple[str, str]]:
    """Name and title of the kinds this person may ask for by hand."""
    return [(name, one.title) for name, one in KINDS.items() if one.roles and person.holds(*one.roles)]


def work_visible_to(person: Person) -> QuerySet[Work]:
    every = Work.objects.select_related("asked_by")
    return every if person.holds(Role.ADMINISTRATOR) else every.filter(asked_by=person)
