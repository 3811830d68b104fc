"""Who issues, withdraws or signs has shown within the last minutes that it is still them at the keyboard.

A sign-in counts, and so does a password, a code or a passkey asked for again.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from functools import wraps

from allauth.account.adapter import get_adapter
from allauth.account.internal.flows import reauthentication
from allauth.account.internal.flows.login import get_authentication_records
from django.conf import settings
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import redirect
from django.utils.http import urlencode

from office.people.models import Person

View = Callable[..., HttpResponseBase]


def is_recent(request: HttpRequest) -> bool:
    """Whether the person signed in or confirmed who they are within CONFIRM_WITHIN seconds; None asks nobody."""
    if settings.CONFIRM_WITHIN is None:
        return True
    if not isinstance(request.user, Person):
        return False
    moments = [record["at"] for record in get_authentication_records(request, request.user)]
    return bool(moments) and time.time() - max(moments) < settings.CONFIRM_WITHIN


def confirmed(view: View) -> View:
    """View decorator: what was sent waits while the person confirms who they are, and is then done as it was sent."""

    @wraps(view)
    def guarded(request: HttpRequest, *args: object, **kwargs: object) -> HttpResponseBase:
        if request.method != "POST" or is_recent(request):
            return view(request, *args, **kwargs)
        return _ask(request)

    return guarded


def _ask(request: HttpRequest) -> HttpResponse:
    methods = get_adapter().get_reauthentication_methods(request.user)
    if not methods:
        return redirect("people:sign_in")
    reauthentication.suspend_request(request, methods[0]["url"])  # keeps what was sent, in the session
    return redirect(f"{methods[0]['url']}?{urlencode({'next': request.path})}")
