"""Until when a boat that races on a signed statement must show her certificate: by the edition of the rules.

Racing Rules of Sailing, rule 78.2. 2021-2024 (read): before the start of the last day of the event or of the first
series, whichever is earlier. 2025-2028 (from memory): the same. Before (an older text, read; which edition it was of
was not shown): before the end of the event.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from django.db import models


class Edition(models.TextChoices):
    OLDER = "older", "before 2021"
    RRS_2021 = "2021_2024", "2021–2024"
    RRS_2025 = "2025_2028", "2025–2028"


SOURCES = {
    Edition.OLDER: "RRS 78.2 in an older text (read; which edition it was of was not shown)",
    Edition.RRS_2021: "RRS 2021–2024, rule 78.2 (read)",
    Edition.RRS_2025: "RRS 2025–2028, rule 78.2 (from memory: compare the text in force)",
}
START, END = "before the start of", "before the end of"
FOLLOWS = (
    "If neither the certificate nor its verification is there by then, the rule has the race committee score the boat "
    "disqualified, without a hearing, in all races of the event. Whether and how it applies is for the committee and, "
    "in doubt, the protest committee to decide."
)


@dataclass(frozen=True, slots=True)
class Deadline:
    """`moment` of `day`: its start, or its end."""

    day: dt.date
    moment: str
    why: str
    source: str

    def __str__(self) -> str:
        return f"{self.moment} {self.day.isoformat()}"

    def passed(self, today: dt.date) -> bool:
        """Whether it certainly lies behind: when racing starts on the day itself is not known here."""
        return today > self.day

    def is_today(self, today: dt.date) -> bool:
        return today == self.day


def usual_edition(first_day: dt.date) -> Edition:
    """The edition in force on the event's first day; an event's documents may say another."""
    if first_day.year >= 2025:
        return Edition.RRS_2025
    return Edition.RRS_2021 if first_day.year >= 2021 else Edition.OLDER


def deadline(edition: str, last_day: dt.date, first_series_last_day: dt.date | None = None) -> Deadline:
    """Of a one-day event too: its only day is its last. ValueError for an edition that is none."""
    rules = Edition(edition)
    if rules == Edition.OLDER:
        return Deadline(last_day, END, "the end of the event", SOURCES[rules])
    if first_series_last_day is not None and first_series_last_day < last_day:
        return Deadline(first_series_last_day, START, "the last day of the first series", SOURCES[rules])
    return Deadline(last_day, START, "the last day of the event", SOURCES[rules])
