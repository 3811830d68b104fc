"""From when until when a certificate is valid: the office's rule, turned into a last day and into words."""

from __future__ import annotations

import calendar
import datetime as dt
from typing import TYPE_CHECKING

from office.policy.models import ValidityRule

if TYPE_CHECKING:
    from office.policy.models import PolicyEdition


def last_day(rule: str, months: int, valid_from: dt.date) -> dt.date:
    """The last day of a certificate that begins on `valid_from`.

    Calendar year: 31 December of that year. Months: the day before the day of the same number that many months on;
    where that month has no such day, its last one (common practice in counting periods by months, no source).
    So 12 months from 29 February end on 28 February, and a month from 31 January ends on the last day of February.
    """
    if rule == ValidityRule.CALENDAR_YEAR:
        return dt.date(valid_from.year, 12, 31)
    if rule != ValidityRule.MONTHS:
        raise ValueError(f"No such rule of validity: {rule}")
    month_index = valid_from.year * 12 + valid_from.month - 1 + months
    year, month = divmod(month_index, 12)
    first_of_month = dt.date(year, month + 1, 1)
    if valid_from.day == 1:
        return first_of_month - dt.timedelta(days=1)
    days_in_month = calendar.monthrange(year, month + 1)[1]
    return first_of_month.replace(day=min(valid_from.day - 1, days_in_month))


def validity(edition: PolicyEdition, valid_from: dt.date) -> dt.date:
    """The last day under this edition of the office's policy."""
    return last_day(edition.validity_rule, edition.validity_months, valid_from)


def rule_in_words(rule: str, months: int) -> str:
    """The rule for its end, as the certificate states it."""
    if rule == ValidityRule.CALENDAR_YEAR:
        return "Valid to the end of the calendar year in which it begins."
    if months == 1:
        return "Valid for one month, its first day counted."
    return f"Valid for {months} months, its first day counted."
