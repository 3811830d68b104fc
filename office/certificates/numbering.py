"""Certificate numbers: the office's prefix, the year of issue, a running number, as in RM-2026-0042."""

from __future__ import annotations

import contextlib
import datetime as dt
import re
import secrets
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.db import DatabaseError, transaction
from django.db.models import Q
from django.db.models.functions import Length
from django.utils import timezone

from office.audit import trail
from office.certificates.models import Certificate, NumberInHand
from office.policy.models import PolicyEdition

if TYPE_CHECKING:
    from django.db.models import QuerySet

DIGITS = 4
NEAR = 8  # numbers after the last one among which the next is looked for: issues side by side end in any order
ABANDONED = dt.timedelta(minutes=10)  # after which the number of an issue that was cut off is given out again


def wait_for_turn() -> None:
    """Two issues take turns until the transaction's end, so that no number is given twice and none is left out.

    A row lock on the policy's first edition; SQLite's immediate transactions take turns by themselves.
    """
    list(PolicyEdition.objects.select_for_update().order_by("pk").values_list("pk")[:1])


@dataclass(frozen=True, slots=True)
class Held:
    """A number that is this issue's alone, and the head of the trail when it was taken."""

    number: str
    token: str
    trail_head: tuple[int, str]


@contextlib.contextmanager
def held(prefix: str, issued_on: dt.date) -> Iterator[Held]:
    """A number for the issue within the block, which ends with `use`; a block that fails gives it back.

    Taken in a short transaction of its own, so that papers can state it before anybody has to wait for them.
    """
    taken = hold(prefix, issued_on)
    try:
        yield taken
    except BaseException:
        with contextlib.suppress(DatabaseError):
            NumberInHand.objects.filter(number=taken.number, taken_by=taken.token).update(taken_by="")
        raise


def hold(prefix: str, issued_on: dt.date) -> Held:
    """The next number, this caller's until it is used, given back, or left alone for ABANDONED."""
    token, now = secrets.token_urlsafe(12), timezone.now()
    with transaction.atomic():
        wait_for_turn()
        number = next_number(prefix, issued_on)
        NumberInHand.objects.update_or_create(number=number, defaults={"taken_by": token, "taken_at": now})
        return Held(number, token, trail.head())


def use(one: Held) -> bool:
    """Within the transaction that writes the certificate: whether the number is still this caller's; now it is gone."""
    return bool(NumberInHand.objects.filter(number=one.number, taken_by=one.token).delete()[0])


def hold_and_use(prefix: str, issued_on: dt.date) -> Held:
    """Within the transaction that writes the certificate: a number for it at once."""
    one = hold(prefix, issued_on)
    use(one)
    return one


def next_number(prefix: str, issued_on: dt.date) -> str:
    """The least one that was given back or abandoned; else the one after the greatest of that prefix and year.

    That is nearly always one of the next after the one issued last and those in hand; only where it is not are all of
    the year looked through.
    """
    head = f"{prefix}-{issued_on.year}-"
    in_hand = _of(head, NumberInHand.objects.exclude(number__in=Certificate.objects.values("number")))
    free = Q(taken_by="") | Q(taken_at__lt=timezone.now() - ABANDONED)
    if given_back := in_hand.filter(free).order_by("width", "number").first():
        return given_back
    last = Certificate.objects.order_by("-pk").values_list("number", flat=True).first() or ""
    known = [_running(head, number) for number in (last, _greatest(in_hand))]
    if known[0]:
        after = max(known) + 1
        near = [_numbered(head, running) for running in range(after, after + NEAR)]
        taken = set(Certificate.objects.filter(number__in=near).values_list("number", flat=True))
        if following := next((number for number in near if number not in taken), ""):
            return following
    return _numbered(head, max(known[1], _running(head, _greatest(_of(head, Certificate.objects.all())))) + 1)


def _numbered(head: str, running: int) -> str:
    return f"{head}{running:0{DIGITS}d}"


def _running(head: str, number: str) -> int:
    """0 for what is no number with that head."""
    rest = number.removeprefix(head)
    return int(rest) if number.startswith(head) and rest.isdecimal() else 0


def _greatest(numbers: QuerySet[Any, str]) -> str:
    return numbers.order_by("-width", "-number").first() or ""


def _of(head: str, rows: QuerySet[Any]) -> QuerySet[Any, str]:
    """The numbers with that head, and nothing but digits after it."""
    found = rows.filter(number__startswith=head, number__regex=rf"^{re.escape(head)}[0-9]+$")
    numbers: QuerySet[Any, str] = found.annotate(width=Length("number")).values_list("number", flat=True)
    return numbers
