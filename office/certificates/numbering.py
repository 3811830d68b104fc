"""Certificate numbers: the office's prefix, the year of issue, a running number, as in RM-2026-0042."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from django.db.models.functions import Length

from office.certificates.models import Certificate
from office.policy.models import PolicyEdition

if TYPE_CHECKING:
    import datetime as dt

DIGITS = 4


def wait_for_turn() -> None:
    """Two issues take turns until the transaction's end, so that no number is given twice and none is left out.

    A row lock on the policy's first edition; SQLite's immediate transactions take turns by themselves.
    """
    list(PolicyEdition.objects.select_for_update().order_by("pk").values_list("pk")[:1])


def next_number(prefix: str, issued_on: dt.date) -> str:
    """The number after the greatest one of that prefix and year.

    That is nearly always the one issued last; only where it is not are all of the year looked through.
    """
    head = f"{prefix}-{issued_on.year}-"
    last = Certificate.objects.order_by("-pk").values_list("number", flat=True).first() or ""
    if last.startswith(head) and last.removeprefix(head).isdecimal():
        following = _numbered(head, int(last.removeprefix(head)) + 1)
        if not Certificate.objects.filter(number=following).exists():
            return following
    return _numbered(head, _greatest(head) + 1)


def _numbered(head: str, running: int) -> str:
    return f"{head}{running:0{DIGITS}d}"


def _greatest(head: str) -> int:
    """0 while there is none."""
    taken = (
        Certificate.objects.filter(number__startswith=head, number__regex=rf"^{re.escape(head)}[0-9]+$")
        .annotate(width=Length("number"))
        .order_by("-width", "-number")
        .values_list("number", flat=True)
        .first()
    )
    return int(taken.removeprefix(head)) if taken else 0
