"""Certificates as pages and neighbours ask for them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from boats.queries import boats_visible_to
from office.certificates.models import Certificate, Document

if TYPE_CHECKING:
    import datetime as dt

    from django.contrib.auth.models import AnonymousUser
    from django.db.models import QuerySet

    from boats.models import Boat
    from office.people.models import Person
    from surveys.models import Visit


def certificate_on(boat: Boat, on: dt.date) -> Certificate | None:
    """The certificate of the boat in force on that day; the database allows at most one."""
    return Certificate.objects.filter(boat=boat, valid_from__lte=on, in_force_before__gt=on).first()


def latest(boat: Boat) -> Certificate | None:
    """The one issued last, however it stands."""
    return Certificate.objects.filter(boat=boat).order_by("-issued_at", "-pk").first()


def of_visit(visit: Visit) -> QuerySet[Certificate]:
    """All that were issued from the visit, the last one first."""
    return Certificate.objects.filter(visit=visit).order_by("-issued_at", "-pk")


def end_of_chain(certificate: Certificate) -> Certificate:
    """The certificate that replaced it, and the one that replaced that, to the last."""
    last = certificate
    while following := Certificate.objects.filter(replaces=last).first():
        last = following
    return last


def certificates_visible_to(person: Person | AnonymousUser) -> QuerySet[Certificate]:
    """Those of the boats the person may see: measurers and the office all, an owner their own of today."""
    return Certificate.objects.filter(boat__in=boats_visible_to(person))


def document(certificate: Certificate, paper: str) -> Document | None:
    return Document.objects.filter(certificate=certificate, paper=paper).first()
