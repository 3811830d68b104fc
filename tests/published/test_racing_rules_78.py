"""Racing Rules of Sailing, rule 78.2: until when a boat that raced on a signed statement must show her certificate.

2021-2024 (read): before the start of the last day of the event or of the first series, whichever is earlier.
2025-2028 (from memory): the same. An older text (read; its edition was not shown): before the end of the event.
The days below are ours; what follows for them is the rule's.
"""

from __future__ import annotations

import datetime as dt

import pytest

from office.racing.deadlines import END, SOURCES, START, Edition, deadline, usual_edition

FRIDAY, SATURDAY, SUNDAY = (dt.date(2026, 5, day) for day in (8, 9, 10))
NEWER = (Edition.RRS_2021, Edition.RRS_2025)


@pytest.mark.parametrize("edition", NEWER)
def test_an_event_of_one_day(edition):
    """Its only day is its last: before she starts on it."""
    found = deadline(edition, SATURDAY)
    assert (found.day, found.moment) == (SATURDAY, START)
    assert str(found) == "before the start of 2026-05-09"


@pytest.mark.parametrize("edition", NEWER)
def test_an_event_of_several_days(edition):
    assert (deadline(edition, SUNDAY).day, deadline(edition, SUNDAY).moment) == (SUNDAY, START)


@pytest.mark.parametrize("edition", NEWER)
def test_a_first_series_that_ends_earlier(edition):
    found = deadline(edition, SUNDAY, SATURDAY)
    assert (found.day, found.moment, found.why) == (SATURDAY, START, "the last day of the first series")


@pytest.mark.parametrize("edition", NEWER)
def test_a_first_series_that_ends_with_the_event_changes_nothing(edition):
    assert deadline(edition, SUNDAY, SUNDAY) == deadline(edition, SUNDAY)


@pytest.mark.parametrize("series", [None, SATURDAY])
def test_the_older_text_waits_for_the_end_of_the_event(series):
    found = deadline(Edition.OLDER, SUNDAY, series)
    assert (found.day, found.moment) == (SUNDAY, END)


def test_another_edition_is_another_deadline_for_the_same_event():
    assert deadline(Edition.OLDER, SUNDAY, SATURDAY) != deadline(Edition.RRS_2021, SUNDAY, SATURDAY)


@pytest.mark.parametrize(
    ("year", "edition"),
    [(2020, Edition.OLDER), (2021, Edition.RRS_2021), (2024, Edition.RRS_2021), (2025, Edition.RRS_2025)],
)
def test_which_edition_is_usual_in_a_year(year, edition):
    assert usual_edition(dt.date(year, 6, 1)) == edition


def test_what_was_read_and_what_is_from_memory_is_said():
    assert "(read)" in SOURCES[Edition.RRS_2021]
    assert "from memory" in SOURCES[Edition.RRS_2025]
    assert deadline(Edition.RRS_2025, SUNDAY).source == SOURCES[Edition.RRS_2025]


def test_passed_only_when_the_day_is_over():
    """When racing starts on the day is not known here: on the day itself it is said to be today."""
    found = deadline(Edition.RRS_2021, SATURDAY)
    assert [found.passed(day) for day in (FRIDAY, SATURDAY, SUNDAY)] == [False, False, True]
    assert [found.is_today(day) for day in (FRIDAY, SATURDAY, SUNDAY)] == [False, True, False]


def test_no_such_edition():
    with pytest.raises(ValueError, match="2017"):
        deadline("2017_2020", SUNDAY)
