"""How a certificate stands on a day: the function and the database's answer to the same question."""

from __future__ import annotations

import datetime as dt

import pytest

from office.certificates.models import Certificate, Suspension
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


SUSPENDED_FROM, LIFTED_FROM = D(2026, 6, 1), D(2026, 7, 1)


@pytest.mark.parametrize(
    ("before", "ending", "on", "expected"),
    [
        (BEFORE_END, "", D(2026, 5, 3), "not_yet"),
        (BEFORE_END, "", D(2026, 5, 31), "in_force"),
        (BEFORE_END, "", D(2026, 6, 1), "suspended"),
        (BEFORE_END, "", D(2026, 6, 30), "suspended"),
        (BEFORE_END, "", D(2026, 7, 1), "in_force"),
        (BEFORE_END, "", D(2026, 9, 30), "in_force"),
        (BEFORE_END, "", D(2026, 10, 1), "suspended"),  # the second one, still open
        (BEFORE_END, "", D(2027, 1, 1), "expired"),
        (D(2026, 6, 15), "withdrawn", D(2026, 6, 14), "suspended"),
        (D(2026, 6, 15), "withdrawn", D(2026, 6, 15), "withdrawn"),
    ],
)
def test_suspended_days(row, cast, before: D, ending: str, on: D, expected: str) -> None:
    one = row(valid_from=FIRST, in_force_before=before, ending=ending)
    at = dt.datetime(2026, 5, 4, tzinfo=dt.UTC)
    made = {"certificate": one, "suspended_by": cast.certifier, "suspended_at": at, "reason": "The mast is damaged."}
    Suspension.objects.create(**made, since=SUSPENDED_FROM, lifted_from=LIFTED_FROM, lifted_by=cast.certifier)
    Suspension.objects.create(**made, since=D(2026, 8, 1), lifted_from=D(2026, 8, 1), lifted_by=cast.certifier)
    Suspension.objects.create(**made, since=D(2026, 10, 1))
    assert standing(one, on) == expected
    answers = [str(name) for name in Standing if Certificate.objects.filter(standing_is(name, on)).exists()]
    assert answers == [expected]
