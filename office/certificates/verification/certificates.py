"""Each certificate against its own snapshot, its papers, the others of its boat and its rows of the trail."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterator, Sequence
from decimal import Decimal
from typing import Any

from django.db.models import F

from office.audit.digest import row_sha256
from office.audit.models import Entry
from office.audit.trail import GENESIS
from office.certificates import paper, snapshot
from office.certificates.actions import ENDED
from office.certificates.models import Certificate, Document, Ending, Seal
from office.certificates.verification import invented
from office.certificates.verification.findings import CHUNK, Misfit, chunks, guarded, parsed
from office.certificates.verification.papers import NotOurPaper, attached_snapshot
from surveys.models import SignOff, VisitState

ENDINGS = {Ending.REPLACED: "replace_certificate", Ending.WITHDRAWN: "withdraw_certificate"}
LAST_DIGITS = Decimal("0.000002")  # signature and certificate round the same figure to six decimals, each its own way
VERBS = ("issue_certificate", *ENDINGS.values())


def in_chunks() -> Iterator[tuple[list[Certificate], list[Misfit]]]:
    """Every certificate, a chunk at a time, with what it refers to; and those that cannot be read."""
    return chunks(Certificate.objects.select_related("boat", "visit", "replaces", "issued_by"), "number")


def check_all() -> Iterator[Misfit]:
    up_to = invented.loaded_up_to()
    for chunk, unreadable in in_chunks():
        yield from unreadable
        excused = invented.without_papers([one.number for one in chunk], up_to)
        told = _rows_of_trail(chunk)
        heads = _heads(chunk)
        for one in chunk:
            checks = (
                _snapshot(one), _ending(one), _papers(one, excused=one.number in excused),
                _trail(one, told[one.number], heads),
            )  # fmt: skip
            for check in checks:
                yield from guarded(one.number, check)
    yield from _two_in_force()
    yield from _rows_without_certificate()


# ---- What it states ----


def _snapshot(one: Certificate) -> Iterator[Misfit]:
    if snapshot.sha256(one.snapshot) != one.snapshot_sha256:
        yield Misfit(
            one.number, f"What {one.number} states was altered: its snapshot does not have the hash kept with it."
        )
    stated = parsed(one.snapshot)
    if not stated or snapshot.canonical(stated) != one.snapshot:
        yield Misfit(one.number, f"The snapshot of {one.number} is not JSON in canonical form.")
        return
    for column, kept, printed in _columns(one, stated):
        if kept != printed:
            yield Misfit(
                one.number, f"{one.number} is kept with {column} {kept or 'none'} but states {printed or 'none'}."
            )
    if one.visit.state != VisitState.ACCEPTED:
        state = one.visit.get_state_display().lower()
        yield Misfit(one.number, f"{one.number} rests on a visit that is not accepted but {state}.")
    signed = SignOff.objects.filter(
        visit_id=one.visit_id, meaning="measured", content_sha256=_at(stated, "visit", "sign_off", "content_sha256")
    ).first()
    if signed is None:
        yield Misfit(one.number, f"{one.number} rests on a measurer's signature that its visit does not bear.")
    else:
        yield from _figures(one, stated, parsed(signed.content))


def _figures(one: Certificate, stated: dict[str, Any], signed: dict[str, Any]) -> Iterator[Misfit]:
    """Each dimension is the one that was signed."""
    values = {
        (row["dimension"], row["mast"]): row["value"]
        for row in signed.get("dimensions", [])
        if row["method"] in {"", "adopted"}
    }
    for row in stated.get("dimensions", []):
        value = values.get((row["slug"], row["mast"]))
        if value is None or abs(Decimal(value) - Decimal(row["value_unrounded"])) > LAST_DIGITS:
            yield Misfit(
                one.number,
                f"{one.number} states {row['name'].lower()} ({row['mast']}) as {row['value_unrounded']}, "
                f"but {value or 'nothing'} was signed.",
            )


def _columns(one: Certificate, stated: dict[str, Any]) -> Iterator[tuple[str, str, str]]:
    """(column in words, as kept, as stated)"""
    yield "number", one.number, str(_at(stated, "number"))
    yield "first day", one.valid_from.isoformat(), str(_at(stated, "validity", "from"))
    yield "last day", one.valid_until.isoformat(), str(_at(stated, "validity", "until"))
    yield "trail head", one.trail_head, str(_at(stated, "trail", "head"))
    yield "boat", one.boat.key, str(_at(stated, "boat", "key"))
    yield "visit", one.visit.key, str(_at(stated, "visit", "key"))
    yield "certifier", one.issued_by.key, str(_at(stated, "people", "certifier", "key"))
    yield "time of issue", snapshot.instant(one.issued_at), str(_at(stated, "issued_at"))
    yield "reason", one.issue_reason, str(_at(stated, "reason"))
    yield "former certificate", one.replaces.number if one.replaces else "", str(_at(stated, "replaces", "number"))


def _at(stated: Any, *path: str) -> Any:
    """What lies there in the snapshot, "" where nothing does."""
    for name in path:
        stated = stated.get(name) if isinstance(stated, dict) else None
    return "" if stated is None else stated


# ---- How it ends ----


def _ending(one: Certificate) -> Iterator[Misfit]:
    natural = one.valid_until + dt.timedelta(days=1)
    if one.ending == Ending.NONE and (one.ended_on or one.ended_at or one.ended_by_id or one.ending_reason):
        yield Misfit(one.number, f"{one.number} has not been ended, but says when, why or by whom it was.")
    if one.ending == Ending.NONE and one.in_force_before != natural:
        yield Misfit(one.number, f"{one.number} ends on another day than it states, and nothing says why.")
    if one.ending != Ending.NONE and (
        one.ended_on != one.in_force_before or not one.ending_reason or one.ended_by_id is None
    ):
        yield Misfit(one.number, f"{one.number} was {one.ending}, but the day, the reason or the person is missing.")
    if one.ending == Ending.REPLACED and not _successor_begins(one):
        yield Misfit(one.number, f"{one.number} was replaced, but no certificate that follows it begins on that day.")
    former = one.replaces
    if former is not None and former.boat_id != one.boat_id:
        yield Misfit(one.number, f"{one.number} replaces {former.number}, which is of another boat.")
    if former is not None and former.in_force_before > one.valid_from and former.valid_from < former.in_force_before:
        yield Misfit(one.number, f"{one.number} replaces {former.number}, which has not ended when this one begins.")


def _successor_begins(one: Certificate) -> bool:
    """Some certificate down its chain begins on the day this one ends."""
    seen, last = {one.pk}, one
    while following := Certificate.objects.filter(replaces=last).first():
        if following.valid_from == one.in_force_before:
            return True
        if following.pk in seen:
            return False
        seen.add(following.pk)
        last = following
    return False


def _two_in_force() -> Iterator[Misfit]:
    """Of the certificates of a boat that are ever in force, none begins before the last one ended."""
    rows = (
        Certificate.objects.filter(valid_from__lt=F("in_force_before"))
        .order_by("boat_id", "valid_from", "pk")
        .values_list("boat_id", "number", "valid_from", "in_force_before")
    )
    former = None
    for row in rows.iterator(chunk_size=1000):
        if former and former[0] == row[0] and row[2] < former[3]:
            yield Misfit(row[1], f"{former[1]} and {row[1]} are both in force on {row[2].isoformat()}.")
        if former is None or former[0] != row[0] or row[3] > former[3]:
            former = row


# ---- Its papers ----


def _papers(one: Certificate, *, excused: bool) -> Iterator[Misfit]:
    found = []
    for document in Document.objects.filter(certificate=one).order_by("paper").iterator(chunk_size=1):
        found.append(document.paper)
        content = bytes(document.pdf)
        if snapshot.sha256(content) != document.pdf_sha256:
            yield Misfit(
                one.number, f"The {document.paper} paper of {one.number} was altered: it does not have its hash."
            )
        try:
            attached = attached_snapshot(content)
        except NotOurPaper as error:
            yield Misfit(one.number, f"The {document.paper} paper of {one.number} is no certificate any more. {error}")
            continue
        if attached != one.snapshot:
            yield Misfit(
                one.number, f"The {document.paper} paper of {one.number} carries another snapshot than the register."
            )
    if excused and not found:
        return
    if missing := [size for size in paper.SIZES if size not in found]:
        yield Misfit(one.number, f"{one.number} has no paper in {' or '.join(missing)}.")


# ---- Its rows of the trail ----


def _rows_of_trail(chunk: Sequence[Certificate]) -> dict[str, list[Entry]]:
    rows: dict[str, list[Entry]] = defaultdict(list)
    for entry in Entry.objects.filter(certificate__in=[one.number for one in chunk], verb__in=VERBS).order_by("number"):
        rows[entry.certificate].append(entry)
    return rows


def _heads(chunk: Sequence[Certificate]) -> dict[str, int]:
    """Hash to number of the rows that the certificates name as the trail's head.

    Looked up by the numbers they state: hashes have no index, so only those not found there are searched for.
    """
    stated = [_at(parsed(one.snapshot), "trail", "number") for one in chunk]
    numbers = [number for number in stated if isinstance(number, int) and 0 < number < 2**63]
    found = {GENESIS: 0, **dict(Entry.objects.filter(number__in=numbers).values_list("hash", "number"))}
    if missing := {one.trail_head for one in chunk} - found.keys():
        found |= dict(Entry.objects.filter(hash__in=missing).values_list("hash", "number"))
    return found


def _trail(one: Certificate, told: list[Entry], heads: dict[str, int]) -> Iterator[Misfit]:
    issues = [entry for entry in told if entry.verb == "issue_certificate"]
    if len(issues) != 1:
        times = (
            f"of the issue of {one.number} {len(issues)} times" if issues else f"nothing of the issue of {one.number}"
        )
        yield Misfit(one.number, f"The trail tells {times}.")
    for entry in issues:
        yield from _issue(one, entry)
        if one.trail_head in heads and heads[one.trail_head] >= entry.number:
            yield Misfit(one.number, f"{one.number} names as the trail's head a row that was written after its issue.")
    if one.trail_head not in heads:
        yield Misfit(one.number, f"The trail no longer holds the head that {one.number} was printed with.")
    endings = [entry for entry in told if entry.verb != "issue_certificate"]
    if one.ending == Ending.NONE:
        if endings:
            yield Misfit(
                one.number, f"Row {endings[-1].number} of the trail ends {one.number}, but the register does not."
            )
        return
    last = parsed(endings[-1].after) if endings else {}
    same = last.get("in_force_before") == one.in_force_before.isoformat() and last.get("ending") == one.ending
    same = same and last.get("row_sha256", row_sha256(one)) == row_sha256(one)
    if not same or endings[-1].verb != ENDINGS[Ending(one.ending)]:
        yield Misfit(one.number, f"{one.number} was {one.ending}, but the trail does not tell so of that day.")


def _issue(one: Certificate, entry: Entry) -> Iterator[Misfit]:
    told = parsed(entry.after)
    papers = dict(Document.objects.filter(certificate=one).values_list("paper", "pdf_sha256"))
    for what, kept, said in (
        ("another statement", one.snapshot_sha256, told.get("snapshot_sha256")),
        ("other papers", papers, told.get("documents")),
        ("another first day", one.valid_from.isoformat(), told.get("valid_from")),
        ("another last day", one.valid_until.isoformat(), told.get("valid_until")),
    ):
        if kept != said:
            yield Misfit(
                one.number, f"Row {entry.number} of the trail issued {one.number} with {what} than the register's."
            )
    seal = Seal.objects.filter(certificate=one).values_list("statement_key__identifier", "paper_key__identifier")
    if "paper_key" in told and (seal.first() or ("", "")) != (told.get("statement_key"), told["paper_key"]):
        yield Misfit(one.number, f"Row {entry.number} of the trail sealed {one.number} with other keys.")
    digest = row_sha256(one, without=ENDED)
    if told.get("row_sha256", digest) != digest:
        yield Misfit(one.number, f"Row {entry.number} of the trail tells otherwise of the issue of {one.number}.")
    if entry.actor != one.issued_by.key:
        yield Misfit(one.number, f"Row {entry.number} of the trail names another certifier of {one.number}.")


def _rows_without_certificate() -> Iterator[Misfit]:
    """Every row that tells of a certificate has it in the register."""
    rows = Entry.objects.filter(verb__in=VERBS).order_by("number").values_list("number", "certificate")
    reached = -1
    while chunk := list(rows.filter(number__gt=reached)[: CHUNK * 10]):
        known = set(
            Certificate.objects.filter(number__in={number for _, number in chunk}).values_list("number", flat=True)
        )
        for row, number in chunk:
            if number not in known:
                yield Misfit(number, f"Row {row} of the trail tells of {number}, which the register does not hold.")
        reached = chunk[-1][0]
