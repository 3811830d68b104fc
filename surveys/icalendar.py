"""Planned visits as a calendar (iCalendar, RFC 5545, from memory): whole days, and nothing of any person.

Of a visit it says the boat, her sail number, the harbour, the day and the address of its page, which asks who you are.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator
from urllib.parse import urlsplit

from django.conf import settings
from django.urls import reverse

from surveys.models import Visit

LINE_OCTETS = 75  # RFC 5545, 3.1: without the line break
CONTENT_TYPE = "text/calendar; charset=utf-8"


def calendar_of(visits: Iterable[Visit], *, name: str, now: dt.datetime) -> bytes:
    """The whole feed. `now` stamps the events (DTSTAMP)."""
    lines = ["BEGIN:VCALENDAR", "VERSION:2.0", f"PRODID:-//{text(name)}//Planned visits//EN", "CALSCALE:GREGORIAN"]
    lines += [f"X-WR-CALNAME:{text(name)}: visits", "REFRESH-INTERVAL;VALUE=DURATION:PT1H"]
    for visit in visits:
        lines += _event(visit, now)
    lines.append("END:VCALENDAR")
    return b"".join(folded(line) for line in lines)


def _event(visit: Visit, now: dt.datetime) -> Iterator[str]:
    """One whole day: DTEND is the day after, not included (RFC 5545, 3.6.1)."""
    if visit.planned_on is None:
        return
    host = urlsplit(settings.PUBLIC_URL).hostname or "localhost"
    yield "BEGIN:VEVENT"
    yield f"UID:visit-{visit.key}@{host}"
    yield f"DTSTAMP:{now.astimezone(dt.UTC):%Y%m%dT%H%M%SZ}"
    yield f"SEQUENCE:{visit.edition}"
    yield f"DTSTART;VALUE=DATE:{visit.planned_on:%Y%m%d}"
    yield f"DTEND;VALUE=DATE:{visit.planned_on + dt.timedelta(days=1):%Y%m%d}"
    yield f"SUMMARY:{text(f'Measure {visit.boat.name} ({visit.boat.sail_number})')}"
    if visit.harbour:
        yield f"LOCATION:{text(visit.harbour)}"
    yield f"URL:{settings.PUBLIC_URL}{reverse('surveys:visit', args=[visit.key])}"
    yield "TRANSP:TRANSPARENT"
    yield "END:VEVENT"


def text(value: str) -> str:
    """A TEXT value (RFC 5545, 3.3.11): backslash, semicolon, comma and line breaks escaped, other controls dropped."""
    for plain, escaped in (("\\", "\\\\"), (";", "\\;"), (",", "\\,"), ("\r\n", "\\n"), ("\n", "\\n"), ("\r", "\\n")):
        value = value.replace(plain, escaped)
    return "".join(sign for sign in value if sign == "\t" or (sign >= " " and sign != "\x7f"))


def folded(line: str) -> bytes:
    """At most 75 octets a line, the rest on lines that begin with a space; no character is cut in two."""
    pieces, piece = [], b""
    for sign in line:
        octets = sign.encode()
        if len(piece) + len(octets) > LINE_OCTETS:
            pieces.append(piece)
            piece = b" "
        piece += octets
    return b"\r\n".join([*pieces, piece]) + b"\r\n"
