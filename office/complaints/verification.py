"""Complaints against what the trail tells of them."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator
from typing import Any

from django.db.models import Model

from office.audit.digest import row_sha256
from office.audit.models import Entry
from office.certificates.verification.findings import Misfit, guarded, parsed
from office.complaints.actions import REMOVABLE
from office.complaints.models import Complaint

# What stands beside a complaint: its relation, and the name under which the trail holds each row's digest.
BESIDE = {"notes": "note_sha256", "decisions": "decision_sha256", "consequences": "consequence_sha256"}


def check_all() -> Iterator[Misfit]:
    """Each complaint as its last row of the trail left it; as many notes, decisions and consequences as it tells of."""
    told: dict[str, list[Entry]] = defaultdict(list)
    for entry in Entry.objects.filter(subject_kind="complaint").order_by("number").iterator(chunk_size=500):
        told[entry.subject].append(entry)
    for one in Complaint.objects.prefetch_related(*BESIDE).order_by("pk"):
        name = f"complaint {one.key}"
        yield from guarded(name, _complaint(one, name, told.pop(one.key, [])))
    for key, entries in told.items():
        yield Misfit(f"complaint {key}", f"Row {entries[0].number} of the trail tells of it, but it is not there.")


def _complaint(one: Complaint, name: str, entries: list[Entry]) -> Iterator[Misfit]:
    told = [parsed(entry.after) for entry in entries]
    if not told or told[-1].get("row_sha256") != row_sha256(one, without=REMOVABLE):
        yield Misfit(name, "The trail tells otherwise of how it stands.")
    for relation, digest in BESIDE.items():
        yield from _rows(
            name, relation, [str(row[digest]) for row in told if digest in row], getattr(one, relation).all()
        )


def _rows(name: str, what: str, told: Iterable[str], kept: Iterable[Any]) -> Iterator[Misfit]:
    expected, found = Counter(told), Counter(_digest(row) for row in kept)
    if expected != found:
        yield Misfit(name, f"The trail tells otherwise of its {what}.")


def _digest(row: Model) -> str:
    return row_sha256(row)
