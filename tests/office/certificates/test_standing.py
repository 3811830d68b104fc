"""How a certificate stands on a day: the function and the database's answer to the same question."""

from __future__ import annotations

import datetime as dt

import pytest

from office.certificates.models import Certificate
from office.certificates.standing import Standing, standing, standing_is

D = dt.date
FIRST, BEFORE_END = D(2026, 5, 4), D(2027, 1, 1)

TABLE = [
    # first day, in force before, ending, day asked, standing
    (FIRST, BEFORE_END, "", D(2026, 5, 3), "not_yet"),
    (FIRST, BEFORE_END, "", D(2026, 5, 4), "in_force"),
    (FIRST, BEFORE_END, "", D(2026, 12, 31), "in_force"),
    (FIRST, BEFORE_END, "", D(2027, 1, 1), "expired"),
    (FIRST, D(2026, 8, 1), "replaced", D(2026, 5, 3), "not_yet"),
    (FIRST, D(2026, 8, 1), "replaced", D(2026, 7, 31), "in_force"),
    (FIRST, D(2026, 8, 1), "replaced", D(2026, 8, 1), "replaced"),
    (FIRST, D(2026, 8, 1), "withdrawn", D(2026, 7, 31), "in_force"),
    (FIRST, D(2026, 8, 1), "withdrawn", D(2026, 8, 1), "withdrawn"),
    (FIRST, D(2026, 8, 1), "withdrawn", D(2028, 1, 1), "withdrawn"),
    # ended before its first day: it never comes into force
    (FIRST, FIRST, "withdrawn", D(2026, 5, 3), "withdrawn"),
    (FIRST, FIRST, "withdrawn", D(2026, 5, 4), "withdrawn"),
    (FIRST, FIRST, "replaced", D(2026, 1, 1), "replaced"),
]


@pytest.mark.parametrize(("first", "before", "ending", "on", "expected"), TABLE)
def test_standing(first: D, before: D, ending: str, on: D, expected: str) -> None:
    one = Certificate(valid_from=first, valid_until=D(2026, 12, 31), in_force_before=before, ending=ending)
    assert standing(one, on) == expected


def test_the_database_gives_the_same_answer(row) -> None:
    for first, before, ending, on, expected in TABLE:
        number = row(valid_from=first, in_force_before=before, ending=ending).number
        answers = [
            str(name) for name in Standing if Certificate.objects.filter(standing_is(name, on), number=number).exists()
        ]
        assert answers == [expected]
