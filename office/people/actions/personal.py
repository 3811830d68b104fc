"""A person's name taken away: what they did stands, under the key by which the trail knows them."""

from __future__ import annotations

from django.db import transaction

from office.audit import trail
from office.audit.refusals import WrongState
from office.people import rules
from office.people.actions.invitations import cancel_open_links
from office.people.models import Invitation, Person

REMOVED = "name removed"
NOWHERE = "removed.invalid"  # RFC 2606 section 2: a name that never leads anywhere (from memory)


def address_of(key: str) -> str:
    return f"{key.lower()}@{NOWHERE}"


def is_removed(person: Person) -> bool:
    return person.email == address_of(person.key)


@transaction.atomic
def remove_name(*, by: Person, person: Person, reason: str) -> Person:
    """Name, e-mail address and password go, from the person and from every invitation; the row and its key stay.

    The person must be disabled first. Certificates and papers that were issued keep what is printed on them.
    Raises NotAllowed, WrongState, Refusal.
    """
    rules.check_may_manage(by)
    reason = rules.check_reason(reason)
    trail.hold()
    person = Person.objects.get(pk=person.pk)
    rules.check_disabled(person)
    if is_removed(person):
        raise WrongState("The name has been removed already.")
    cancel_open_links(by=by, person=person, reason="the person's name was removed")
    Invitation.objects.filter(email__iexact=person.email).update(name=REMOVED, email=address_of(person.key))
    person.invitations.update(name=REMOVED, email=address_of(person.key))
    person.name, person.email = f"{REMOVED} ({person.key})", address_of(person.key)
    person.set_unusable_password()
    person.save(update_fields=["name", "email", "password"])
    trail.record(by=by, verb="remove_name", subject=trail.subject_of(person), reason=reason)
    return person
