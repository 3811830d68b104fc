"""Whom the office might send to a visit."""

from __future__ import annotations

from dataclasses import dataclass

from django.utils import timezone

from boats.models import Interest, Ownership
from boats.rules import on_day
from office.people.models import Person, Role
from office.people.queries import people
from surveys.models import Visit


@dataclass(frozen=True, slots=True)
class Candidate:
    """A measurer the office might send, with what stands against it."""

    person: Person
    interest: str
    excepted: bool

    @property
    def free(self) -> bool:
        return not self.interest or self.excepted


def candidates(visit: Visit) -> list[Candidate]:
    """Every active measurer by name, with an interest in the boat on the day where there is one. Four queries."""
    today = timezone.localdate()
    held = on_day(visit.planned_on or today) | on_day(today)  # as surveys.rules.interest_in asks
    measurers = people(role=Role.MEASURER, active=True).order_by("name", "pk")
    interests = dict(Interest.objects.filter(held, boat_id=visit.boat_id).values_list("person_id", "kind"))
    owners = Ownership.objects.filter(held, boat_id=visit.boat_id).values_list("person_id", flat=True)
    interests |= dict.fromkeys(owners, "owner")
    excepted = set(visit.interest_exceptions.values_list("person_id", flat=True))
    return [Candidate(one, interests.get(one.pk, ""), one.pk in excepted) for one in measurers]
