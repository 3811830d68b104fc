"""One's own account."""

from __future__ import annotations

from django.db import transaction

from office.audit import trail
from office.audit.refusals import NotAllowed, Refusal
from office.people import rules
from office.people.models import Lengths, Person


def change_own_password(*, by: Person, present: str, new: str) -> Person:
    """Sets a new password; every other session of the person ends."""
    with transaction.atomic():
        trail.hold()
        person = Person.objects.get(pk=by.pk)
        rules.check_active(person)
        if not person.check_password(present):
            raise NotAllowed("The present password is not right.")
        person.set_password(new)
        person.save(update_fields=["password"])
        trail.record(by=person, verb="change_own_password", subject=trail.subject_of(person))
    return person


def choose_lengths(*, by: Person, lengths: str) -> Person:
    """How this person sees lengths. It changes nothing that the office answers for: no row of the trail."""
    if lengths not in Lengths:
        raise Refusal("Lengths are shown in millimetres, or with feet and inches beside them.")
    with transaction.atomic():
        person = Person.objects.get(pk=by.pk)
        rules.check_active(person)
        person.lengths = lengths
        person.save(update_fields=["lengths"])
    return person


def change_own_name(*, by: Person, name: str) -> Person:
    """The trail tells that the name changed, not from what to what: names stand in no row."""
    name = name.strip()
    if not name:
        raise Refusal("A person needs a name.")
    with transaction.atomic():
        trail.hold()
        person = Person.objects.get(pk=by.pk)
        rules.check_active(person)
        if name != person.name:
            person.name = name
            person.save(update_fields=["name"])
            trail.record(by=person, verb="change_own_name", subject=trail.subject_of(person))
    return person
