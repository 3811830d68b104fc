"""From when until when: both rules of the office's policy, month ends and leap days."""

from __future__ import annotations

import datetime as dt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from office.certificates.validity import last_day, rule_in_words, validity
from office.policy.models import PolicyEdition

MONTHS = [
    # valid from, months, last day (common practice in counting periods by months, no source)
    ("2026-05-04", 12, "2027-05-03"),
    ("2026-05-04", 1, "2026-06-03"),
    ("2026-01-01", 12, "2026-12-31"),
    ("2026-03-01", 12, "2027-02-28"),
    ("2027-03-01", 12, "2028-02-29"),  # the February that follows has 29 days
    ("2028-02-29", 12, "2029-02-28"),  # no 29 February a year on: its last day
    ("2028-02-29", 48, "2032-02-28"),  # four years on there is one: the day before
    ("2028-02-28", 12, "2029-02-27"),
    ("2026-01-31", 1, "2026-02-28"),
    ("2028-01-31", 1, "2028-02-29"),
    ("2026-01-30", 1, "2026-02-28"),
    ("2026-01-29", 1, "2026-02-28"),
    ("2026-01-28", 1, "2026-02-27"),
    ("2026-03-31", 1, "2026-04-30"),
    ("2026-03-31", 6, "2026-09-30"),
    ("2026-12-31", 2, "2027-02-28"),
    ("2026-12-01", 1, "2026-12-31"),
    ("2026-11-15", 18, "2028-05-14"),
    ("2026-06-30", 120, "2036-06-29"),
]


@pytest.mark.parametrize(("valid_from", "months", "expected"), MONTHS)
def test_months(valid_from: str, months: int, expected: str) -> None:
    assert last_day("months", months, dt.date.fromisoformat(valid_from)).isoformat() == expected


@pytest.mark.parametrize("valid_from", ["2026-01-01", "2026-05-04", "2026-12-31", "2028-02-29"])
def test_calendar_year(valid_from: str) -> None:
    day = dt.date.fromisoformat(valid_from)
    assert last_day("calendar_year", 7, day) == dt.date(day.year, 12, 31)


def test_an_unknown_rule_is_an_error() -> None:
    with pytest.raises(ValueError, match="for_ever"):
        last_day("for_ever", 12, dt.date(2026, 1, 1))


@given(st.dates(dt.date(1990, 1, 1), dt.date(2080, 1, 1)), st.integers(1, 120))
def test_one_month_more_is_never_shorter_and_never_longer_than_a_month(day: dt.date, months: int) -> None:
    shorter, longer = last_day("months", months, day), last_day("months", months + 1, day)
    assert day <= shorter < longer
    assert 27 <= (longer - shorter).days <= 32


def test_the_policy_decides() -> None:
    first = dt.date(2026, 5, 4)
    assert validity(PolicyEdition(validity_rule="calendar_year"), first) == dt.date(2026, 12, 31)
    assert validity(PolicyEdition(validity_rule="months", validity_months=6), first) == dt.date(2026, 11, 3)


def test_the_rule_in_words() -> None:
    assert "calendar year" in rule_in_words("calendar_year", 12)
    assert "18 months" in rule_in_words("months", 18)
    assert "one month" in rule_in_words("months", 1)
