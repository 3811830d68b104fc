"""What the pages with a form share."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

from django import forms
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import get_object_or_404
from django.utils.cache import get_conditional_response
from django.utils.http import quote_etag

from boats.views.common import status_of
from office.audit.refusals import NotAllowed, Refusal, Stale
from office.people.access import person_of
from surveys import rules
from surveys.actions.signing import WrongPassword
from surveys.models import Visit
from surveys.values import Unreadable

__all__ = ["person_of", "posted", "sent", "status_of", "unless_known", "visit_for"]

Done = TypeVar("Done")


def sent(request: HttpRequest) -> QueryDict | None:
    """What a form was sent with; None where it was only asked for. An empty form that was sent is empty, not unsent."""
    return request.POST if request.method == "POST" else None


def posted(
    request: HttpRequest,
    form: forms.Form,
    action: Callable[[dict[str, Any]], Done],
    edition_now: Callable[[], int] | None = None,
) -> Done | None:
    """What the action returns for a valid form that was sent; else None, and the form says why, beside its field.

    Everything typed stays in the form. Who may not at all gets the page that says so. A stale form comes back with
    `edition_now`, so that it can be sent again once its sender has seen what changed.
    """
    if request.method != "POST" or not form.is_valid():
        return None
    try:
        return action(form.cleaned_data)
    except Unreadable as refusal:
        field = refusal.field if refusal.field in form.fields else None
        form.add_error(field, f"Expected {refusal.expected}." if field else str(refusal))
    except WrongPassword as refusal:
        form.add_error("password", str(refusal))
    except NotAllowed:
        raise
    except Stale as refusal:
        form.add_error(None, str(refusal))
        if edition_now is not None and "edition" in form.fields:
            form.data = form.data.copy()  # type: ignore[attr-defined]
            form.data["edition"] = edition_now()  # type: ignore[index]
    except Refusal as refusal:
        form.add_error(None, str(refusal))
    return None


def unless_known(request: HttpRequest, answer: HttpResponse, etag: str) -> HttpResponse:
    """The answer, or 304 where the browser has it already; kept by that browser alone, and asked about each time."""
    answer.headers["ETag"] = quoted = quote_etag(etag)
    answer.headers["Cache-Control"] = "private, no-cache"
    return get_conditional_response(request, quoted, None, answer) or answer


def visit_for(request: HttpRequest, key: str) -> Visit:
    """The visit, for someone who may see it."""
    visits = Visit.objects.select_related("boat__design", "measurer", "rig", "reviewer", "asked_by")
    visit = get_object_or_404(visits, key=key)
    rules.check_may_see(person_of(request), visit)
    return visit
