"""What the pages with a form share."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

from django import forms
from django.http import HttpRequest

from office.audit.refusals import NotAllowed, Refusal

Done = TypeVar("Done")


def posted(request: HttpRequest, form: forms.Form, action: Callable[[dict[str, Any]], Done]) -> Done | None:
    """What the action returns for a valid form that was sent; else None, and where it was refused the form says why.

    A state that does not allow it is said in the form, with everything typed kept; who may not at all gets the page
    that says so.
    """
    if request.method != "POST" or not form.is_valid():
        return None
    try:
        return action(form.cleaned_data)
    except NotAllowed:
        raise
    except Refusal as refusal:
        form.add_error(None, str(refusal))
        return None


def status_of(form: forms.Form) -> int:
    return 422 if form.errors else 200
