"""Addresses that a script asks: whatever is wrong, the answer is JSON with one sentence, never a page or a redirect.

401 {"sign_in": url}    403 {"csrf": true, "refused": sentence}
403, 409, 413, 415, 422 {"refused": sentence, "me": key of the person}
"""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Any

from django.conf import settings
from django.core.exceptions import RequestDataTooBig, TooManyFilesSent
from django.http import Http404, HttpRequest, HttpResponseBase, JsonResponse, UnreadablePostError
from django.http.multipartparser import MultiPartParserError
from django.shortcuts import resolve_url
from django.views.csrf import csrf_failure

from office import failures
from office.audit.refusals import Refusal

View = Callable[..., HttpResponseBase]


class TooLarge(Refusal):
    """More than is taken at once."""

    status = 413


class WrongKind(Refusal):
    """Another kind of content than is expected."""

    status = 415


class Garbled(Refusal):
    """It cannot be read as what it should be."""

    status = 422


def refused(sentence: str, status: int, **more: object) -> JsonResponse:
    answer = JsonResponse({"refused": sentence, **more}, status=status)
    answer.headers["Cache-Control"] = "private, no-store"
    return answer


def answers_in_json(*methods: str) -> Callable[[View], View]:
    """View decorator: the address takes these methods and says every refusal in JSON."""

    def decorate(view: View) -> View:
        @wraps(view)
        def guarded(request: HttpRequest, *args: object, **kwargs: object) -> HttpResponseBase:
            if request.method not in methods:
                answer = refused(f"This address takes {' and '.join(methods)} only.", 405)
                answer.headers["Allow"] = ", ".join(methods)
                return answer
            if not request.user.is_authenticated:
                return JsonResponse({"sign_in": resolve_url(settings.LOGIN_URL)}, status=401)
            try:
                return view(request, *args, **kwargs)
            except Refusal as refusal:
                # Whom it is said to: a device shared by two must know whose page it may go on showing.
                return refused(str(refusal), 422 if refusal.status == 400 else refusal.status, me=request.user.key)
            except Http404 as missing:
                return refused(str(missing.args[0]) if missing.args else "There is no such thing.", 404)
            except RequestDataTooBig:
                return _too_big()
            except (UnreadablePostError, MultiPartParserError, TooManyFilesSent):
                return _broken_off()

        marked: Any = guarded
        marked.login_required = False  # answered above, in JSON
        marked.answers_in_json = True
        return guarded

    return decorate


def csrf_refusal(request: HttpRequest, reason: str = "") -> HttpResponseBase:
    """The framework's page, or JSON at an address that a script asks."""
    if _asked_by_script(request):
        return refused("The page is older than this sign-in; load it again.", 403, csrf=True)
    return csrf_failure(request, reason)


def bad_request_answer(request: HttpRequest, exception: Exception) -> HttpResponseBase:
    """handler400: what is refused before an address is asked, a form that cannot be read, is JSON there too."""
    if _asked_by_script(request):
        too_big = isinstance(exception, RequestDataTooBig)
        return _too_big() if too_big else _broken_off()
    return failures.bad_request(request, exception)


def _asked_by_script(request: HttpRequest) -> bool:
    match = request.resolver_match
    return match is not None and getattr(match.func, "answers_in_json", False)


def _too_big() -> JsonResponse:
    return refused("This is more than the office takes at once; send less of it.", 413)


def _broken_off() -> JsonResponse:
    return refused("The request broke off or cannot be read; send it again.", 422)
