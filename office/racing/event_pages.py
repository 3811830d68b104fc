"""Rows of the page of an event, made as escaped text: a list of thousands is shown as quickly as it is matched.

A template takes twenty times as long for the same rows; every text goes through `escape` here.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from functools import cache
from html import escape as escape_all
from typing import Any

from django.http import HttpRequest
from django.template.loader import render_to_string
from django.utils.safestring import mark_safe

from office import marks
from office.racing.results import Result

_SIGNS = re.compile("[&<>\"']")  # those that `escape_all` writes otherwise: a row without one of them is as it is
_ROWS = mark_safe("<!-- rows -->")  # no text of a person's comes through like this


def page(request: HttpRequest, template: str, context: dict[str, Any], made: Sequence[str]) -> str:
    """The page with these rows in the place of `rows`: nested blocks would copy them a dozen times."""
    before, _, after = render_to_string(template, {**context, "rows": _ROWS}, request).partition(_ROWS)
    return "".join([before, *made, after])


def rows(found: Iterable[Result], entry_address: str) -> list[str]:
    """<tr> for each; `entry_address` with a 0 where the row's number goes, as in /events/KEY/entries/0/."""
    before, _, after = entry_address.rpartition("0")
    before, after = escape(before), escape(after)
    return [_row(one, before, after) for one in found]


def escape(text: str) -> str:
    return escape_all(text) if _SIGNS.search(text) else text


def _row(one: Result, before: str, after: str) -> str:
    safe = _as_it_is if not _SIGNS.search(f"{one.boat}{one.sail_number}{one.certificate}") else escape
    number = safe(one.sail_number)
    certificate = safe(one.certificate)
    linked = f'<a class="figure" href="/check/c/{certificate}/">{certificate}</a>' if certificate else "–"
    return (
        f'<tr><td class="figures" data-label="Row">{one.row}</td>'
        f'<th scope="row"><a href="{before}{one.row}{after}"><bdi>{safe(one.boat) or number}</bdi></a>'
        f"{_register(one)}</th>"
        f'<td data-label="Sail number"><bdi>{number or "–"}</bdi></td>'
        f'<td data-label="Stands">{_mark(one.status)}</td><td data-label="Certificate">{linked}</td>'
        f'<td data-label="Last day in force"><span class="figure">{one.last_day or "–"}</span></td>'
        f'<td data-label="What to know">{_told(one)}</td></tr>\n'
    )


def _as_it_is(text: str) -> str:
    return text


def _register(one: Result) -> str:
    """The boat of the register, where she is written otherwise than in the list."""
    boat = one.matched
    if boat is None or (boat.name == one.boat and boat.sail_number == one.sail_number):
        return ""
    return f'<br><span class="small"><bdi>{escape(boat.name)}</bdi>, <bdi>{escape(boat.sail_number)}</bdi></span>'


def _told(one: Result) -> str:
    if not one.notes and one.matched and not one.settled:
        return ""
    said = " ".join(one.notes)
    if one.offered:
        boats = ", ".join(
            f"<bdi>{escape(boat.name)}</bdi> (<bdi>{escape(boat.sail_number)}</bdi>)" for boat in one.offered[:3]
        )
        more = f" and {len(one.offered) - 3} more" if len(one.offered) > 3 else ""
        return f"May be {boats}{more}. {escape(said)}".strip()
    if one.matched is None:
        return escape(f"{one.why[:1].upper()}{one.why[1:]}. {said}".strip())
    return escape(f"Settled by hand. {said}".strip() if one.settled else said)


@cache
def _mark(status: str) -> str:
    return str(marks.render(marks.find(marks.STATES, status)))
