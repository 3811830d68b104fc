"""Authorisations of people against what the trail tells of them."""

from __future__ import annotations

from collections.abc import Iterator

from office.audit.digest import row_sha256
from office.audit.models import Entry
from office.certificates.verification.findings import Misfit, guarded, parsed
from office.people.authorisations import WITHDRAWN
from office.people.models import Authorisation

Told = tuple[str, str]  # whose it is, and the digest of its row


def check_all() -> Iterator[Misfit]:
    """Each granted, and withdrawn where it is, as the trail tells it; none that it does not tell of, none gone."""
    granted, withdrawn = _told("grant_authorisation", "after"), _told("withdraw_authorisation", "before")
    for number, key in Authorisation.objects.order_by("pk").values_list("pk", "key"):
        told, ended = granted.pop(str(key), None), withdrawn.pop(str(key), None)
        yield from guarded(f"authorisation {key}", _authorisation(number, str(key), told, ended))
    for key, (person, _) in {**withdrawn, **granted}.items():
        name = f"authorisation {key}"
        yield Misfit(name, f"The trail tells of an authorisation {key} of {person}, but it is not there.")


def _authorisation(number: int, key: str, told: Told | None, ended: Told | None) -> Iterator[Misfit]:
    one = Authorisation.objects.select_related("person").get(pk=number)
    name, person = f"authorisation {key}", one.person.key
    if told != (person, row_sha256(one, without=WITHDRAWN)):
        yield Misfit(name, f"The trail tells otherwise of the authorisation {key} of {person}.")
    if (ended is not None) != (one.withdrawn_from is not None):
        yield Misfit(name, f"Trail and register differ on whether the authorisation {key} of {person} is withdrawn.")
    elif ended is not None and ended != (person, row_sha256(one)):
        yield Misfit(name, f"The trail tells otherwise of how the authorisation {key} of {person} was withdrawn.")
    elif ended is None and (one.withdrawn_by_id or one.withdrawn_at or one.withdrawal_reason):
        yield Misfit(name, f"The authorisation {key} of {person} stands, but says by whom or why it was withdrawn.")


def _told(verb: str, side: str) -> dict[str, Told]:
    """By the authorisation's key: whose it is, and the digest, which stands among what became."""
    rows = Entry.objects.filter(verb=verb).values_list("subject", side, "after")
    return {
        str(parsed(named).get("authorisation")): (subject, str(parsed(after).get("row_sha256")))
        for subject, named, after in rows
    }
