"""The way round the office: which pages stand in the navigation of which roles."""

from __future__ import annotations

from django.http import HttpRequest
from django.urls import reverse

from office.people.models import Person, Role

STAFF = (Role.REVIEWER, Role.CERTIFIER, Role.ADMINISTRATOR)
FIELD = (Role.MEASURER, *STAFF)

# Label, name of the address, and the roles that see it; no role named: everybody, signed in or not.
PLACES: tuple[tuple[str, str, tuple[str, ...]], ...] = (
    ("Start", "home", ()),
    ("Queue", "desk:queue", STAFF),
    ("Visits", "surveys:list", FIELD),
    ("Boats", "boats:list", (*FIELD, Role.OWNER)),
    ("Certificates", "certificates:list", (*STAFF, Role.OWNER)),
    ("Events", "events:list", (*STAFF, Role.RACE_COMMITTEE)),
    ("Complaints", "complaints:list", STAFF),
    ("Instruments", "instruments:list", FIELD),
    ("People", "people:list", (Role.ADMINISTRATOR,)),
    ("Access keys", "access_keys:list", (Role.ADMINISTRATOR,)),
    ("Policy", "policy:show", (Role.ADMINISTRATOR,)),
    ("Long work", "work:list", STAFF),
    ("Trail", "trail:list", (*STAFF, Role.OWNER)),
    ("Check a certificate", "racing:check", ()),
)


def navigation(request: HttpRequest) -> dict[str, object]:
    """`navigation`: (label, address, whether the page asked for lies there), for the person who looks."""
    return {"navigation": lambda: places_of(request)}


def places_of(request: HttpRequest) -> list[tuple[str, str, bool]]:
    person = getattr(request, "user", None)
    roles = person.roles if isinstance(person, Person) and person.is_active else frozenset()
    return [
        (label, url, _lies_at(request.path, url))
        for label, name, wanted in PLACES
        if not wanted or roles.intersection(wanted)
        for url in (reverse(name),)
    ]


def _lies_at(path: str, url: str) -> bool:
    return path == url if url == "/" else path.startswith(url)
