"""Complaints against what the trail tells of them."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator
from itertools import chain
from typing import Any

from django.db.models import Model

from office.audit.digest import row_sha256
from office.audit.models import Entry
from office.certificates.verification import stored
from office.certificates.verification.findings import Misfit, guarded, parsed
from office.complaints.changes import REMOVABLE
from office.complaints.models import Complaint, Consequence, Decision, Note

# What stands beside a complaint: its relation, and the name under which the trail holds each row's digest.
BESIDE = {"notes": "note_sha256", "decisions": "decision_sha256", "consequences": "consequence_sha256"}


NAMED: dict[type[Model], str] = {
    Complaint: "key", Note: "complaint__key", Decision: "complaint__key", Consequence: "complaint__key",
}  # fmt: skip


def check_all() -> Iterator[Misfit]:
    return chain(stored.check_all(NAMED), guarded("complaints", _complaints()))


def _complaints() -> Iterator[Misfit]:
    """Each complaint as its last row of the trail left it; as many notes, decisions and consequences as it tells of."""
    told: dict[str, list[Entry]] = defaultdict(list)
    for entry in Entry.objects.filter(subject_kind="complaint").order_by("number").iterator(chunk_size=500):
        told[entry.subject].append(entry)
    for number, key in Complaint.objects.order_by("pk").values_list("pk", "key"):
        name = f"complaint {key}"
        yield from guarded(name, _complaint(number, name, told.pop(str(key), [])))
    for key, entries in told.items():
        yield Misfit(f"complaint {key}", f"Row {entries[0].number} of the trail tells of it, but it is not there.")


def _complaint(number: int, name: str, entries: list[Entry]) -> Iterator[Misfit]:
    told, one = [parsed(entry.after) for entry in entries], Complaint.objects.get(pk=number)
    if not told or told[-1].get("row_sha256") != row_sha256(one, without=REMOVABLE):
        yield Misfit(name, "The trail tells otherwise of how it stands.")
    for relation, digest in BESIDE.items():
        expected = [str(row[digest]) for row in told if digest in row]
        yield from guarded(name, _rows(name, relation, expected, getattr(one, relation).all()))


def _rows(name: str, what: str, told: Iterable[str], kept: Iterable[Any]) -> Iterator[Misfit]:
    expected, found = Counter(told), Counter(_digest(row) for row in kept)
    if expected != found:
        yield Misfit(name, f"The trail tells otherwise of its {what}.")


def _digest(row: Model) -> str:
    return row_sha256(row)
