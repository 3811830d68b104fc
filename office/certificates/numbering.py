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
    """The number after the greatest one of that prefix and year."""
    head = f"{prefix}-{issued_on.year}-"
    taken = (
        Certificate.objects.filter(number__startswith=head, number__regex=rf"^{re.escape(head)}[0-9]+$")
        .annotate(width=Length("number"))
        .order_by("-width", "-number")
        .values_list("number", flat=True)
        .first()
    )
    running = int(taken.removeprefix(head)) + 1 if taken else 1
    return f"{head}{running:0{DIGITS}d}"
