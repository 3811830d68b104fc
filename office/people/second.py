"""The second factor: who needs one, who has one, and how secrets of authenticator apps are kept.

A certifier and an administrator sign in with an authenticator app or a passkey beside the password (or with the passkey
alone); until they have set one up, every page leads them there. `OFFICE_SECOND_FACTOR=0` lifts it, as the demo does.
"""

from __future__ import annotations

import base64

from allauth.mfa.models import Authenticator
from cryptography.fernet import Fernet
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.kdf.hkdf import HKDF
from django.conf import settings
from django.db import transaction

from office.audit import trail
from office.people import rules
from office.people.models import Person, Role

NEEDED_BY = (Role.CERTIFIER, Role.ADMINISTRATOR)
FACTORS = (Authenticator.Type.TOTP, Authenticator.Type.WEBAUTHN)  # recovery codes stand in for one, they are none


def is_needed(person: Person) -> bool:
    return bool(settings.SECOND_FACTOR) and person.holds(*NEEDED_BY)


def has_one(person: Person, *, besides: int | None = None) -> bool:
    return bool(Authenticator.objects.filter(user=person, type__in=FACTORS).exclude(pk=besides).exists())


def must_set_one_up(person: Person) -> bool:
    return is_needed(person) and not has_one(person)


def remove_all(*, by: Person | None, person: Person, reason: str) -> None:
    """For somebody who lost what they had: the next sign-in takes the password alone, and leads to a new factor.

    `by` is None for the command of whoever runs the server.
    """
    if by is not None:
        rules.check_may_manage(by)
    reason = rules.check_reason(reason)
    with transaction.atomic():
        trail.hold()
        forget(person)
        trail.record(by=by, verb="remove_second_factor", subject=trail.subject_of(person), reason=reason)


def forget(person: Person) -> None:
    """Part of a larger step, in whose transaction it is called."""
    Authenticator.objects.filter(user=person).delete()


def noted(verb: str, person: Person, kind: str) -> None:
    """The row of the trail for what a person did with their own factor."""
    person = Person.objects.get(pk=person.pk)  # a request knows its person by a stand-in
    with transaction.atomic():
        trail.record(by=person, verb=verb, subject=trail.subject_of(person), after={"kind": str(kind)})


def sealed(text: str) -> str:
    """A secret as it lies in the database: whoever reads the database alone cannot make its codes."""
    return _box().encrypt(text.encode()).decode()


def opened(text: str) -> str:
    return _box().decrypt(text.encode()).decode()


def _box() -> Fernet:
    """HKDF (RFC 5869) from the office's secret key; Fernet is AES-128-CBC with HMAC-SHA-256."""
    key = HKDF(SHA256(), 32, salt=None, info=b"second factor").derive(settings.SECRET_KEY.encode())
    return Fernet(base64.urlsafe_b64encode(key))
