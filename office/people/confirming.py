"""Who signs, issues, withdraws or hands out rights has shown within the last minutes that it is still them.

A sign-in counts, and so does a password, a code or a passkey asked for again. Whoever has a second factor shows that
one: their password alone confirms nothing.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from functools import wraps
from typing import Any

from allauth.account.adapter import get_adapter
from allauth.account.internal.flows import reauthentication
from allauth.account.internal.flows.login import get_authentication_records
from django.conf import settings
from django.http import HttpRequest, HttpResponse, HttpResponseBase, QueryDict
from django.shortcuts import redirect
from django.utils.http import urlencode

from office.people import second
from office.people.models import Person

View = Callable[..., HttpResponseBase]


def is_recent(request: HttpRequest) -> bool:
    """Whether the person signed in or confirmed who they are within CONFIRM_WITHIN seconds; None asks nobody."""
    if settings.CONFIRM_WITHIN is None:
        return True
    if not isinstance(request.user, Person):
        return False
    records = get_authentication_records(request, request.user)
    if second.has_one(request.user):
        records = [record for record in records if record["method"] == "mfa"]
    moments = [record["at"] for record in records]
    return bool(moments) and time.time() - max(moments) < settings.CONFIRM_WITHIN


def confirmed(view: View) -> View:
    """View decorator: what was sent waits while the person confirms who they are, and is then done as it was sent."""

    @wraps(view)
    def guarded(request: HttpRequest, *args: object, **kwargs: object) -> HttpResponseBase:
        if request.method != "POST" or is_recent(request):
            return view(request, *args, **kwargs)
        return ask(request)

    marked: Any = guarded
    marked.asks_who_it_is = True
    return guarded


def ask(request: HttpRequest, *, sent: QueryDict | None = None) -> HttpResponse:
    """Leads to the confirmation. What was sent waits in the session; `sent` in its place, where it holds a password."""
    methods = get_adapter().get_reauthentication_methods(request.user)
    if not methods:
        return redirect("people:sign_in")
    if sent is not None:
        request.POST = sent  # type: ignore[assignment]
    reauthentication.suspend_request(request, methods[0]["url"])  # keeps what was sent, in the session
    return redirect(f"{methods[0]['url']}?{urlencode({'next': request.path})}")
