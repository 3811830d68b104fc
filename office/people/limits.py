"""How often something may be tried from one address, or by one person. Counted in the database, for all processes.

What is limited is what guesses or costs: signing in, one-time links, codes, passwords asked for again. Reading is not.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps

from allauth.account.adapter import get_adapter
from allauth.core.internal import ratelimit
from django.core.exceptions import PermissionDenied
from django.db import connection
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import render

View = Callable[..., HttpResponseBase]
WAIT_SECONDS = 60


def limited(action: str, rate: str, *, reading: bool = False) -> Callable[[View], View]:
    """View decorator. `rate` as in "30/m/ip" or "10/m/user"; with `reading` a GET counts as well."""

    def decorate(view: View) -> View:
        @wraps(view)
        def guarded(request: HttpRequest, *args: object, **kwargs: object) -> HttpResponseBase:
            if within(request, action, rate, reading=reading):
                return view(request, *args, **kwargs)
            return too_many(request)

        return guarded

    return decorate


def within(request: HttpRequest, action: str, rate: str, *, reading: bool = False) -> bool:
    """Counts this request; whether it is within the rate."""
    used = ratelimit.consume(request, app="office", action=action, config={action: rate}, limit_get=reading)
    if used is None:
        _store_takes_writes()
    return used is not None


def _store_takes_writes() -> None:
    """A store that takes nothing counts nothing, which looks like a limit: OperationalError says what it is."""
    with connection.cursor() as cursor:
        cursor.execute("DELETE FROM people_counts WHERE cache_key = ''")


def too_many(request: HttpRequest, *_: object, **__: object) -> HttpResponse:
    """429, for a rate as for a lock-out."""
    answer = render(request, "429.html", status=429)
    answer.headers["Retry-After"] = str(WAIT_SECONDS)
    return answer


def address_of(request: HttpRequest) -> str:
    """Where a request comes from, behind as many proxies as OFFICE_PROXIES says; "" where it has no address."""
    try:
        return str(get_adapter().get_client_ip(request))
    except PermissionDenied:
        return ""
