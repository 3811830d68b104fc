"""Two addresses for machines that watch the office: is it well, and in figures. Neither needs a sign-in."""

from __future__ import annotations

from secrets import compare_digest

from django.conf import settings
from django.contrib.auth.decorators import login_not_required
from django.db import Error as DatabaseError
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.utils.cache import add_never_cache_headers
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from office.people.limits import address_of
from office.people.models import Person, Role
from office.upkeep import health, metrics

LOOPBACK = {"127.0.0.1", "::1"}
FORWARDED = ("HTTP_X_FORWARDED_FOR", "HTTP_FORWARDED", "HTTP_X_REAL_IP")


@login_not_required
@never_cache
@require_safe
def all_of_it(request: HttpRequest) -> HttpResponse:
    """200 where all is well, 503 where something is not. To an administrator it says what; to others only whether."""
    return _answer(request, health.EVERYTHING)


@login_not_required
@never_cache
@require_safe
def serving(request: HttpRequest) -> HttpResponse:
    """The same of what pages need and nothing else."""
    return _answer(request, health.SERVING)


def _answer(request: HttpRequest, checks: tuple[type[health.Check], ...]) -> HttpResponse:
    """Not by the library's own page, which makes an event loop for each knock."""
    rows = [check().answer() for check in checks]
    well = all(row.well for row in rows)
    status, word = (200, "well") if well else (503, "not well")
    as_json = request.GET.get("format") == "json" or not request.accepts("text/html")
    if not _may_know(request) and as_json:
        answer: HttpResponse = JsonResponse({"office": word}, status=status)
    elif not _may_know(request):
        answer = HttpResponse(f"The office is {word}.\n", content_type="text/plain; charset=utf-8", status=status)
    elif as_json:
        answer = JsonResponse({"office": word, "checks": [row._asdict() for row in rows]}, status=status)
    else:
        answer = render(request, "upkeep/health.html", {"well": well, "rows": rows}, status=status)
    setattr(answer, "_has_been_logged", True)  # noqa: B010  (the framework's own mark: no line for every knock)
    return answer


def _may_know(request: HttpRequest) -> bool:
    """Whether an administrator asks. Nobody is one while the database is away."""
    try:
        return isinstance(request.user, Person) and request.user.holds(Role.ADMINISTRATOR)
    except DatabaseError:
        return False


@login_not_required
@require_safe
def figures(request: HttpRequest) -> HttpResponse:
    """For Prometheus and what reads the same: from this machine itself, or with the token of the settings."""
    if not may_read_figures(request):
        return HttpResponse(
            "These figures are for this machine itself, or for who sends the token of OFFICE_METRICS_TOKEN.\n",
            content_type="text/plain; charset=utf-8",
            status=403,
        )
    answer = HttpResponse(metrics.text(), content_type=metrics.CONTENT_TYPE)
    add_never_cache_headers(answer)
    return answer


def may_read_figures(request: HttpRequest) -> bool:
    """A request that came through a proxy is not from this machine, whatever address it seems to have."""
    given = request.headers.get("Authorization", "")
    token = settings.METRICS_TOKEN
    if token and compare_digest(given.encode(), f"Bearer {token}".encode()):
        return True
    through_a_proxy = any(name in request.META for name in FORWARDED)
    return not through_a_proxy and address_of(request) in LOOPBACK
