"""Looking complaints up."""

from __future__ import annotations

import datetime as dt

from django.db.models import Q, QuerySet
from django.utils import timezone

from office.complaints import rules
from office.complaints.models import Complaint, State
from office.people.models import Person

SORTS = {"received": "received_on", "state": "state", "kind": "kind"}


def open_ones() -> QuerySet[Complaint]:
    """What is not closed yet, the oldest first."""
    rows = Complaint.objects.exclude(state=State.CLOSED).select_related("boat", "certificate", "instrument")
    return rows.order_by("received_on", "pk")


def listed(*, state: str = "", kind: str = "", text: str = "", sort: str = "-received") -> QuerySet[Complaint]:
    """The register. `state`: one of them, or "open"."""
    rows = Complaint.objects.select_related("boat", "certificate", "instrument", "investigator", "complainant")
    if state == "open":
        rows = rows.exclude(state=State.CLOSED)
    elif state:
        rows = rows.filter(state=state)
    if kind:
        rows = rows.filter(kind=kind)
    if text:
        words = ("text", "boat__name", "certificate__number", "instrument__identifier", "complainant_name")
        found = Q()
        for column in words:
            found |= Q(**{f"{column}__icontains": text})
        rows = rows.filter(found)
    column = SORTS.get(sort.removeprefix("-"), "received_on")
    return rows.order_by(f"-{column}" if sort.startswith("-") else column, "-pk")


def age_in_days(one: Complaint) -> int:
    return int((timezone.localdate() - one.received_on) / dt.timedelta(days=1))


def followed_by(person: Person) -> QuerySet[Complaint]:
    """Whose course the person may see as who complained, or as co-owner."""
    found = Complaint.objects.filter(rules.followed_by(person))
    return found.select_related("boat", "certificate", "instrument").order_by("-received_on", "-pk")
