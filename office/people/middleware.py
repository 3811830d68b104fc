"""What holds for every request: it can be read, its answer is private, and a refusal becomes a page."""

from __future__ import annotations

from collections.abc import Callable

from django.conf import settings
from django.core.exceptions import BadRequest
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.template.loader import render_to_string
from django.views.defaults import bad_request

from office.audit.refusals import Refusal, Stale
from office.people import second
from office.people.models import Person

UNREADABLE = "The request cannot be read."


class SoundRequestMiddleware:
    """Refuses (400) what no browser sends and what would end in an error further in.

    A NUL in the address or in a cookie, which PostgreSQL takes in no text; office.wsgi refuses other encodings.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if length_of(request) > settings.LARGEST_REQUEST:
            return HttpResponse(render_to_string("413.html"), status=413)
        if is_sound(request):
            return self.get_response(request)
        if request.path_info.startswith("/api/"):  # problem details there, whatever is wrong (RFC 9457)
            problem = {"type": "about:blank", "title": "Bad Request", "status": 400, "detail": UNREADABLE}
            return JsonResponse(problem, status=400, content_type="application/problem+json")
        return bad_request(request, BadRequest(UNREADABLE))


def length_of(request: HttpRequest) -> int:
    """What the request says it holds; the server reads no more than that."""
    stated = request.META.get("CONTENT_LENGTH") or "0"
    return int(stated) if stated.isascii() and stated.isdigit() else 0


def is_sound(request: HttpRequest) -> bool:
    return not any("\0" in text for text in (request.path_info, *request.COOKIES.values()))


class PrivateAnswersMiddleware:
    """What is shown to somebody who is signed in is kept by no cache, so that it is gone when they have signed out."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        answer = self.get_response(request)
        if request.user.is_authenticated and not answer.has_header("Cache-Control"):
            answer.headers["Cache-Control"] = "private, no-store"
        return answer


# The pages that lead to a second factor, and those that lead out.
BEFORE_THE_SECOND_FACTOR = frozenset(
    {"people:sign_in", "people:sign_out", "account_login", "account_logout", "account_reauthenticate"}
)


class SecondFactorMiddleware:
    """Whoever needs a second factor and has none sets one up before anything else."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_view(self, request: HttpRequest, *_: object) -> HttpResponse | None:
        name = request.resolver_match.view_name if request.resolver_match else ""
        if name in BEFORE_THE_SECOND_FACTOR or name.startswith("mfa_"):
            return None
        if isinstance(request.user, Person) and second.must_set_one_up(request.user):
            return redirect("mfa_index")
        return None


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
