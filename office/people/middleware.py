"""Refusals that nobody caught become a page that says the sentence and where to go."""

from __future__ import annotations

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from office.audit.refusals import Refusal, Stale


class RefusalMiddleware:
    """Turns a Refusal into its page: 403 where the person may not, 409 where the state does not allow it."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_exception(self, request: HttpRequest, exception: Exception) -> HttpResponse | None:
        if not isinstance(exception, Refusal):
            return None
        context = {"sentence": str(exception), "stale": isinstance(exception, Stale), "status": exception.status}
        return render(request, "people/refusal.html", context, status=exception.status)
