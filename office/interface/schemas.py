"""What goes in and comes out, as the description of the interface has it."""

from __future__ import annotations

import datetime as dt
import re
from typing import Annotated, Any

from ninja import Field, Schema
from pydantic import BeforeValidator

MOST_ASKED = 200


def _iso(value: object) -> object:
    """A day is written as in 2026-05-04 and in no other way: a bare number would be taken for seconds since 1970."""
    if isinstance(value, str) and not re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", value):
        raise ValueError("expected a date as in 2026-05-04")
    if isinstance(value, int | float):
        raise ValueError("expected a date as in 2026-05-04")
    return value


Day = Annotated[dt.date, BeforeValidator(_iso)]


class Problem(Schema):
    """RFC 9457."""

    type: str = "about:blank"
    title: str
    status: int
    detail: str
    errors: list[str] | None = None


class Boat(Schema):
    key: str
    name: str
    sail_number: str


class Certificate(Schema):
    number: str
    valid_from: dt.date
    valid_until: dt.date = Field(description="As printed")
    last_day: dt.date | None = Field(description="The last day as things stand; null where it never came into force")
    replaced_by: str | None


class Candidate(Schema):
    boat: Boat
    why: str = Field(description="Why she may be meant")
    standing: str
    certificate: Certificate | None


class Validity(Schema):
    """`boat` is null unless one is meant without doubt: a doubtful one stands among the candidates, never guessed."""

    asked: str
    on: dt.date
    standing: str = Field(
        description="in_force, suspended, not_yet, expired, replaced, withdrawn; none: no certificate; unsure: no boat "
        "is meant without doubt; unknown: the register knows neither boat nor certificate"
    )
    boat: Boat | None
    certificate: Certificate | None
    candidates: list[Candidate]


class Asked(Schema):
    on: Day | None = Field(None, description="Today where it is not given")
    asked: list[str] = Field(
        description="Sail numbers, boats' names or certificate numbers", min_length=1, max_length=MOST_ASKED
    )


class Validities(Schema):
    on: dt.date
    answers: list[Validity]


class Listed(Certificate):
    boat: Boat
    standing: str


class Page(Schema):
    items: list[Listed]
    page: int
    size: int
    total: int
    next: str | None = Field(description="Address of the next page")


class SuspensionOut(Schema):
    since: dt.date
    lifted_from: dt.date | None = Field(description="First day in force again")


class AmendmentOut(Schema):
    number: int
    issued_at: dt.datetime
    text: str
    snapshot: dict[str, Any]
    snapshot_sha256: str


class Stated(Schema):
    """`snapshot` is what the certificate states; its canonical form (RFC 8785) has the hash beside it."""

    number: str
    on: dt.date
    standing: str
    certificate: Certificate
    suspensions: list[SuspensionOut]
    amendments: list[AmendmentOut]
    snapshot: dict[str, Any]
    snapshot_sha256: str
    signature: str = Field(description="Ed25519 of the canonical form, base64url; empty where it bears none")
    statement_key: str = Field(description="Identifier of the office's key that made it")


class Keys(Schema):
    """The office's published keys, retired ones too."""

    format: str
    office: str
    address: str
    as_of: str
    keys: list[dict[str, str]]


class EventOut(Schema):
    key: str
    name: str
    first_day: dt.date
    last_day: dt.date


class Results(Schema):
    """The last check of the event's entry list, or how the list of now stands on the day that was asked for."""

    event: EventOut
    entry_list: int = Field(description="Which version of the list; each upload is another")
    on: dt.date | None = Field(None, description="The day that was asked for; null for the last check")
    check: int | None = Field(None, description="Number of the check; null where a day was asked for")
    checked_at: dt.datetime | None = None
    counts: dict[str, int]
    results: list[dict[str, Any]]
