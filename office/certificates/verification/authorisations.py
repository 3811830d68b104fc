"""Authorisations of people against what the trail tells of them."""

from __future__ import annotations

from collections.abc import Iterator

from office.audit.digest import row_sha256
from office.audit.models import Entry
from office.certificates.verification.findings import Misfit, parsed
from office.people.authorisations import WITHDRAWN
from office.people.models import Authorisation


def check_all() -> Iterator[Misfit]:
    """Each granted, and withdrawn where it is, as the trail tells it; none that it does not tell of, none gone."""
    granted, withdrawn = _told("grant_authorisation", "after"), _told("withdraw_authorisation", "before")
    for one in Authorisation.objects.select_related("person").order_by("pk").iterator(chunk_size=500):
        name = f"authorisation {one.key}"
        if granted.pop(one.key, None) != (one.person.key, row_sha256(one, without=WITHDRAWN)):
            yield Misfit(name, f"The trail tells otherwise of the authorisation {one.key}.")
        ended = withdrawn.pop(one.key, None)
        if (ended is not None) != (one.withdrawn_from is not None):
            yield Misfit(name, f"Trail and register differ on whether the authorisation {one.key} is withdrawn.")
        elif ended is not None and ended != (one.person.key, row_sha256(one)):
            yield Misfit(name, f"The trail tells otherwise of how the authorisation {one.key} was withdrawn.")
        elif ended is None and (one.withdrawn_by_id or one.withdrawn_at or one.withdrawal_reason):
            yield Misfit(name, f"The authorisation {one.key} stands, but says by whom or why it was withdrawn.")
    for key in granted.keys() | withdrawn.keys():
        yield Misfit(f"authorisation {key}", f"The trail tells of the authorisation {key}, but it is not there.")


def _told(verb: str, side: str) -> dict[str, tuple[str, str]]:
    """By the authorisation's key: whose it is, and the digest, which stands among what became."""
    rows = Entry.objects.filter(verb=verb).values_list("subject", side, "after")
    return {
        str(parsed(named).get("authorisation")): (subject, str(parsed(after).get("row_sha256")))
        for subject, named, after in rows
    }
