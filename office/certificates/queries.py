"""Certificates as pages and neighbours ask for them."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

from django.db.models import Prefetch, Q

from boats.queries import boats_visible_to, search
from boats.rules import SEES_EVERY_BOAT
from office.certificates.models import Amendment, Certificate, Document
from office.certificates.standing import Standing, spans, standing_is
from office.lookups import begins_with
from office.people.models import Person
from surveys.models import Visit

if TYPE_CHECKING:
    from django.contrib.auth.models import AnonymousUser
    from django.db.models import QuerySet

    from boats.models import Boat


def certificate_on(boat: Boat, on: dt.date) -> Certificate | None:
    """The certificate of the boat in force on that day; the database allows at most one."""
    return Certificate.objects.filter(standing_is(Standing.IN_FORCE, on), boat=boat).first()


def spanning(boat: Boat, on: dt.date) -> Certificate | None:
    """The certificate whose days hold this one, in force or suspended: what an issue on that day would replace."""
    return Certificate.objects.filter(spans(on), boat=boat).first()


def latest(boat: Boat) -> Certificate | None:
    """The one issued last, however it stands."""
    return Certificate.objects.filter(boat=boat).order_by("-issued_at", "-pk").first()


def of_visit(visit: Visit) -> QuerySet[Certificate]:
    """All that were issued from the visit, the last one first."""
    return Certificate.objects.filter(visit=visit).order_by("-issued_at", "-pk")


def accepted_without_certificate() -> QuerySet[Visit]:
    """Accepted visits that wait for their certificate, longest first; not those that a later visit has overtaken.

    From an index that holds these few only; `no_longer_awaited` takes them out of it.
    """
    return (
        Visit.objects.filter(awaits_certificate=True)
        .select_related("boat", "measurer", "reviewer")
        .order_by("accepted_at", "pk")
    )


def no_longer_awaited(visit: Visit) -> None:
    """A certificate of this visit settles it and the boat's earlier ones. Part of the issue's transaction."""
    earlier = Q(boat=visit.boat_id, date__lt=visit.date) if visit.date else Q(pk__in=[])
    Visit.objects.filter(Q(pk=visit.pk) | earlier, awaits_certificate=True).update(awaits_certificate=False)


def listed(
    person: Person | AnonymousUser, on: dt.date, *, text: str = "", stands: str = "", ends_within: int | None = None
) -> QuerySet[Certificate]:
    """The certificates a list shows, without their snapshots, which are long.

    `ends_within`: in force on the day, with a last day no more than that many days later.
    """
    rows = certificates_visible_to(person).select_related("boat", "replaces", "successor", "issued_by")
    rows = rows.defer("snapshot", "replaces__snapshot", "successor__snapshot")
    rows = rows.prefetch_related("suspensions", Prefetch("amendments", Amendment.objects.defer("snapshot")))
    if stands:
        rows = rows.filter(standing_is(stands, on))
    if ends_within is not None:
        ended_by = on + min(dt.timedelta(days=ends_within + 1), dt.date.max - on)
        rows = rows.filter(standing_is(Standing.IN_FORCE, on), in_force_before__lte=ended_by)
    if text.strip():
        number = begins_with("number", text.strip().upper())
        rows = rows.filter(number | Q(boat__in=search(boats_visible_to(person), text).values("pk")))
    return rows


def certificate_list() -> QuerySet[Certificate]:
    """Every certificate with its boat and what decides how it stands, the last issued first; without snapshots."""
    rows = Certificate.objects.select_related("boat", "successor").defer("snapshot", "successor__snapshot")
    return rows.prefetch_related("suspensions").order_by("-issued_at", "-pk")


def end_of_chain(certificate: Certificate) -> Certificate:
    """The certificate that replaced it, and the one that replaced that, to the last."""
    last = certificate
    while following := Certificate.objects.filter(replaces=last).first():
        last = following
    return last


def chain_of(certificate: Certificate) -> list[Certificate]:
    """Everything it replaced and everything that replaced it, itself included, the first one first. Two queries."""
    rows = Certificate.objects.filter(boat=certificate.boat_id).defer("snapshot").prefetch_related("suspensions")
    by_row = {one.pk: one for one in rows}
    following = {one.replaces_id: one for one in by_row.values() if one.replaces_id}
    first, seen = by_row[certificate.pk], {certificate.pk}
    while first.replaces_id in by_row and first.replaces_id not in seen:
        first = by_row[first.replaces_id]
        seen.add(first.pk)
    chain = [first]
    while (after := following.get(chain[-1].pk)) and after not in chain:
        chain.append(after)
    return chain


def certificates_visible_to(person: Person | AnonymousUser) -> QuerySet[Certificate]:
    """Those of the boats the person may see: measurers and the office all, an owner their own of today."""
    if isinstance(person, Person) and person.holds(*SEES_EVERY_BOAT):
        return Certificate.objects.all()  # not by way of every boat
    return Certificate.objects.filter(boat__in=boats_visible_to(person))


def document(certificate: Certificate, paper: str) -> Document | None:
    return Document.objects.filter(certificate=certificate, paper=paper).first()
