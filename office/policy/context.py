"""What every page knows of the office."""

from __future__ import annotations

from django.http import HttpRequest
from django.utils.functional import SimpleLazyObject

from office.policy import queries


def office(request: HttpRequest) -> dict[str, object]:
    """The edition in force, read only by pages that ask for it."""
    edition = SimpleLazyObject(queries.current)
    return {"policy": edition, "office_name": lambda: edition.office_name}
