"""A list of texts as a table that a statement can join: thousands of look-ups in one, on either database."""

from __future__ import annotations

import json
from collections.abc import Iterable

from django.db import connection

_FORMS = {
    "sqlite": "json_each(%s) AS given",
    "postgresql": (
        "(SELECT listed.value, listed.ordinality - 1 AS key "
        "FROM jsonb_array_elements_text(%s::jsonb) WITH ORDINALITY AS listed(value, ordinality)) AS given"
    ),
}


def given() -> str:
    """The table `given(key, value)` for FROM: key counts from 0. It takes one parameter, made by `parameter`."""
    return _FORMS[connection.vendor]


def parameter(values: Iterable[str | int]) -> str:
    return json.dumps(list(values), separators=(",", ":"))
