"""Which roles open which page. What a person may *do* is for each app's rules."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps

from django.http import HttpRequest, HttpResponseBase

from office.audit.refusals import NotAllowed
from office.people.models import Person, Role

View = Callable[..., HttpResponseBase]

OFFICE = (Role.REVIEWER, Role.CERTIFIER, Role.ADMINISTRATOR)


def is_office(person: object) -> bool:
    """Whether the person works for the office and may see every boat's papers."""
    return isinstance(person, Person) and person.holds(*OFFICE)


def person_of(request: HttpRequest) -> Person:
    """Who asks, on a page that only signed-in people reach."""
    if not isinstance(request.user, Person):
        raise NotAllowed("Sign in first.")
    return request.user


def check_holds(person: object, *roles: str) -> None:
    """Raises NotAllowed, naming the roles, unless the person holds one of them."""
    if not (isinstance(person, Person) and person.holds(*roles)):
        names = [Role(role).label.lower() for role in roles]
        listed = f"{', '.join(names[:-1])} or {names[-1]}" if len(names) > 1 else names[0]
        raise NotAllowed(f"This is for people in the role of {listed}.")


def require_roles(*roles: str) -> Callable[[View], View]:
    """View decorator: whoever holds none of the roles gets the page that says so (403)."""

    def decorate(view: View) -> View:
        @wraps(view)
        def guarded(request: HttpRequest, *args: object, **kwargs: object) -> HttpResponseBase:
            check_holds(request.user, *roles)
            return view(request, *args, **kwargs)

        return guarded

    return decorate
