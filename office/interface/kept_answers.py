"""How a boat stands by her certificate's number, as it was answered last, sent again while all of it is still so.

What `office.racing.kept_pages` is for the page of a code, this is for organisers' systems that ask for one certificate
after the other. Each request is asked for its key and counted, and every fact of the answer is read, all as it would be
further in; what is spared is to make the same answer again. Whatever is out of the ordinary is left to the operation.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable

from django.db import DEFAULT_DB_ALIAS, DatabaseError
from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.utils.cache import get_conditional_response

from office.interface import keys, limits
from office.interface.models import Scope
from office.racing.kept_pages import Page, Pages, facts_of, is_so

ADDRESS = "/api/validity"
_DAY = "on=[0-9]{4}-[0-9]{2}-[0-9]{2}"
QUERY = re.compile(rf"(?:{_DAY}&)?q=([A-Za-z0-9-]{{1,20}})(?:&{_DAY})?")
TOKEN = re.compile(r"Bearer ([A-Za-z0-9_-]{1,200})")
PRECONDITIONS = ("HTTP_IF_MATCH", "HTTP_IF_UNMODIFIED_SINCE", "HTTP_IF_MODIFIED_SINCE")
OF_THE_CONTENT = frozenset({"Content-Type", "Content-Length"})

kept = Pages()


class KeptAnswers:
    """Stands outside sessions, which no key needs."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        number = number_asked_for(request)
        if not number:
            return self.get_response(request)
        page = kept.get(request.META["QUERY_STRING"])
        if page is not None and is_so(page, number, DEFAULT_DB_ALIAS) and _is_let_in(request):
            request.get_host()  # refused here as everywhere where the name is none of ours
            return _conditional(request, page.answer(request), page)
        return self._made(request, number)

    def _made(self, request: HttpRequest, number: str) -> HttpResponse:
        """Whole, whatever the asker has already: so it can be kept."""
        today, facts = timezone.localdate(), facts_of(number, DEFAULT_DB_ALIAS)
        if facts is None:
            return self.get_response(request)
        has = request.META.pop("HTTP_IF_NONE_MATCH", "")
        answer = self.get_response(request)
        if has:
            request.META["HTTP_IF_NONE_MATCH"] = has
        if answer.status_code != 200:
            return answer
        page = Page(facts, today, answer.content, tuple(answer.headers.items()), request.resolver_match)  # type: ignore[arg-type]
        if _is_of(answer.content, number) and is_so(page, number, DEFAULT_DB_ALIAS):
            kept.put(request.META["QUERY_STRING"], page)
        return _conditional(request, answer, page)


def number_asked_for(request: HttpRequest) -> str:
    """Of the certificate that is asked for, in the usual way and with a key; "" for all else."""
    if request.path_info != ADDRESS or request.method != "GET" or request.COOKIES:
        return ""
    asked = QUERY.fullmatch(request.META.get("QUERY_STRING", ""))
    usual = asked and _token(request) and not any(name in request.META for name in PRECONDITIONS)
    return asked[1] if asked and usual else ""


def _token(request: HttpRequest) -> str:
    found = TOKEN.fullmatch(request.META.get("HTTP_AUTHORIZATION", ""))
    return found[1] if found else ""


def _is_of(content: bytes, number: str) -> bool:
    """Whether it answers by that very certificate, and not by one that is written alike, or by a boat."""
    certificate = json.loads(content)["certificate"]
    return certificate is not None and certificate["number"] == number


def _is_let_in(request: HttpRequest) -> bool:
    """Counts the request where it is; who is not, and why, the operation says."""
    found = keys.used_today(_token(request))
    if found is None or Scope.VALIDITY not in found.scopes:
        return False
    try:
        limits.count(f"key {found.key}", limits.WITH_A_KEY)
    except (limits.TooMany, DatabaseError):
        return False
    return True


def _conditional(request: HttpRequest, answer: HttpResponse, page: Page) -> HttpResponse:
    same = get_conditional_response(request, etag=answer.headers["ETag"], response=answer)
    if not isinstance(same, HttpResponse) or same is answer:
        return answer
    for name, value in page.headers:
        if name not in OF_THE_CONTENT:
            same.headers.setdefault(name, value)
    return same
