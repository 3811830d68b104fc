"""The page that a paper's code points to, kept as it was made and sent again while all it says is still so.

Hundreds may hold a phone to a code on the morning of a race. Each request reads every fact that the page is made of, in
one statement; what was made is sent again only where these are, to the last character, what they were then. Where the
database itself can say that nobody has written to it since they were read last (SQLite can), they are not read again.
So the answer stays the register's at the moment it is asked; what is spared is only to write the same page again.

Only for whoever comes without a cookie: they all see the same page. It is kept in this process, with its headers, for
the certificates asked for last; what the layers further out say (of the transport) is added to it each time.
"""

from __future__ import annotations

import datetime as dt
import re
import threading
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from typing import Any
from weakref import WeakKeyDictionary

from django.db import connections
from django.http import HttpRequest, HttpResponse
from django.urls import ResolverMatch
from django.utils import timezone

from office import replica

MOST = 500  # pages; each is some 20 kB with the facts it was made of
VIEW = "racing:certificate"
ADDRESS = re.compile(r"/check/c/([A-Za-z0-9-]{1,20})/")
DAY = re.compile(r"on=[0-9]{4}-[0-9]{2}-[0-9]{2}")

Facts = tuple[Any, ...]

# All that office.racing.views.certificate shows: the certificate, her boat's names, amendments and suspensions, the
# boat's other certificates (chains are made of them), and the policy, which holds the office's name.
_FACTS = """
SELECT one.id, one.replaces_id, one.issued_at, one.valid_from, one.valid_until, one.in_force_before, one.ending,
  one.trail_head, one.snapshot, one.snapshot_sha256, boat.name, boat.sail_number,
  (SELECT max(id) FROM policy_policyedition),
  (SELECT {joined}(number || ' ' || issued_at || ' ' || text, '|') FROM certificates_amendment
    WHERE certificate_id = one.id),
  (SELECT {joined}(id || ' ' || coalesce(replaces_id, 0) || ' ' || number || ' ' || valid_from || ' ' || valid_until
    || ' ' || in_force_before || ' ' || ending, '|') FROM certificates_certificate WHERE boat_id = one.boat_id),
  (SELECT {joined}(certificate_id || ' ' || since || ' ' || coalesce('' || lifted_from, ''), '|')
    FROM certificates_suspension
    WHERE certificate_id IN (SELECT id FROM certificates_certificate WHERE boat_id = one.boat_id))
FROM certificates_certificate AS one JOIN boats_boat AS boat ON boat.id = one.boat_id
WHERE one.number = %(number)s
"""


@dataclass(frozen=True, slots=True, eq=False, weakref_slot=True)  # one is the same as itself alone
class Page:
    """What was answered, and the facts and the day it was made of."""

    facts: Facts
    today: dt.date
    content: bytes
    headers: tuple[tuple[str, str], ...]
    match: ResolverMatch

    def answer(self, request: HttpRequest) -> HttpResponse:
        request.resolver_match = self.match
        answer = HttpResponse(self.content)
        for name, value in self.headers:
            answer.headers[name] = value
        return answer


class Pages:
    """The pages asked for last, by address; threads share them."""

    def __init__(self, most: int = MOST) -> None:
        self._most, self._pages, self._lock = most, OrderedDict[str, Page](), threading.Lock()

    def __len__(self) -> int:
        return len(self._pages)

    def get(self, address: str) -> Page | None:
        with self._lock:
            page = self._pages.get(address)
            if page is not None:
                self._pages.move_to_end(address)
        return page

    def put(self, address: str, page: Page) -> None:
        with self._lock:
            self._pages[address] = page
            self._pages.move_to_end(address)
            while len(self._pages) > self._most:
                self._pages.popitem(last=False)

    def clear(self) -> None:
        with self._lock:
            self._pages.clear()


kept = Pages()


class Looked(threading.local):
    """Of this thread: at which moment of its database the facts of a page were read and found the same."""

    def __init__(self) -> None:
        self.at = WeakKeyDictionary[Page, object]()  # a page that is no longer kept is not held by this

    def is_so(self, page: Page, number: str, alias: str) -> bool:
        """Whether the facts of that certificate are still those the page was made of."""
        connection: Any = connections[alias]
        moment = connection.moment() if connection.vendor == "sqlite" else None
        if moment is not None and self.at.get(page) == moment:
            return True
        if page.facts != facts_of(number, alias):
            return False
        if moment is not None:
            self.at[page] = moment
        return True


looked = Looked()


class KeptPages:
    """Stands outside sessions and all that needs one: nothing further in is asked where a kept page is sent."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        number = number_asked_for(request)
        if not number:
            return self.get_response(request)
        address = f"{number}?{request.META.get('QUERY_STRING', '')}"
        page = kept.get(address)
        if page is not None and is_so(page, number, replica.alias()):
            request.get_host()  # refused here as everywhere where the name is none of ours
            return page.answer(request)
        today, facts = timezone.localdate(), facts_of(number)
        answer = self.get_response(request)
        if facts is not None and may_be_kept(request, answer) and facts_of(number) == facts:
            headers = tuple(answer.headers.items())
            kept.put(address, Page(facts, today, answer.content, headers, request.resolver_match))  # type: ignore[arg-type]
        return answer


def is_so(page: Page, number: str, alias: str) -> bool:
    """Whether the page says today what it would say if it were made anew."""
    return page.today == timezone.localdate() and looked.is_so(page, number, alias)


def number_asked_for(request: HttpRequest) -> str:
    """Of the certificate whose page is asked for without a cookie (a sign-in, a choice of units); "" for the rest."""
    found = ADDRESS.fullmatch(request.path_info)
    if found is None or request.method != "GET" or request.COOKIES:
        return ""
    query = request.META.get("QUERY_STRING", "")
    return found[1] if not query or DAY.fullmatch(query) else ""


def may_be_kept(request: HttpRequest, answer: HttpResponse) -> bool:
    """Whole pages that hold nothing of one person's: no cookie, no number that is used once."""
    match = request.resolver_match
    once = getattr(request, "_csp_nonce", None)
    return (
        answer.status_code == 200 and match is not None and match.view_name == VIEW and not answer.cookies and not once
    )


def facts_of(number: str, alias: str = "") -> Facts | None:
    """Every fact the page shows; None where there is no such certificate. From the database `alias`, or the replica."""
    connection = connections[alias or replica.alias()]
    with connection.cursor() as cursor:
        cursor.execute(_statement(connection.vendor), {"number": number})
        found: Facts | None = cursor.fetchone()
    return found


@cache
def _statement(vendor: str) -> str:
    return _FACTS.format(joined="group_concat" if vendor == "sqlite" else "string_agg")
