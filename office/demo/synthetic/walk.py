"""The trail of the large office in the order of time, and with it what it tells of: signatures and certificates.

A signature's text is hashed when the trail comes to it, and a certificate's when the head it prints is known, just as
they came to be. Papers and seals are made for the first few boats only: rendering takes a second for each certificate.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import islice
from typing import Any

import rfc8785

from office.audit.chain import COLUMNS, GENESIS, HASH, NUMBER, PREVIOUS, canonical
from office.certificates import pdf, snapshot
from office.certificates.models import Document
from office.certificates.seal import keyring, sealing
from office.demo.synthetic.cast import CERTIFICATES, NUMBERED, SIGN_OFFS, SUBJECT, Cast, Part
from office.demo.synthetic.standing import SEALS, TRAIL, Batch
from office.demo.synthetic.stencils import Line, Row, Text, Values, row_of

ROWS, TEXTS = 5_000, 250  # of the trail, and of long texts, in one batch
AFTER, SUBJECT_AT, VERB = (COLUMNS.index(name) for name in ("after", "subject", "verb"))
SIGNATURES = {"sign_visit": "measured", "accept_visit": "accepted"}
DIGESTS = {"row_sha256", "rows_sha256", "readings_at", "small_sha256"}
WORD = re.compile(r"[A-Za-z0-9_-]{12,}")  # as keys, numbers of certificates and hashes are written
SUBJECT_WORD = "{subject}"  # stands in for a subject that the trail names by its row's number


@dataclass(slots=True)
class Event:
    """A row of the pattern's trail, and what is written just before it."""

    part: Part
    row: Row
    hashed: Text
    subject: Line | None
    sign_off: tuple[Row, int, Text, int] | None = None  # row, content's column, content, slot of its hash
    first: bool = False  # the measurer's signature; the reviewer's is under the same
    certificate: Issue | None = None


@dataclass(slots=True)
class Issue:
    row: Row
    snapshot: Text
    snapshot_at: int
    slot: int  # of the snapshot's hash
    head: int  # slot of the head it prints
    pair: int  # slot of head and number together


class Walk:
    """The trail, from its first row to its last."""

    def __init__(self, cast: Cast, papers: int) -> None:
        self.cast, self.papers = cast, papers
        self.number, self.head = 0, GENESIS
        self.trail: list[Any] = []
        self.sign_offs: list[Any] = []
        self.certificates: list[Any] = []
        self.sealed: list[Any] = []
        self.documents: list[Any] = []
        self.seal_keys: keyring.InUse | None = None
        self.whose = {word: part for part in cast.parts for word in part.own}

    def batches(self) -> Iterator[Batch]:
        table = self.cast.pattern.tables[TRAIL]
        order = [table.at(column) for column in COLUMNS]
        for given in sorted(table.rows):
            row = tuple(given[at] for at in order)
            part = self._part_of(row)
            steps = self._office_row(row) if part is None else self._rows(self._event(part, row))
            while list(islice(steps, ROWS)):
                yield from self._flush(full=False)
        yield from self._flush(full=True)

    def _flush(self, *, full: bool) -> Iterator[Batch]:
        tables = self.cast.pattern.tables
        for name, rows, most in (
            (SIGN_OFFS, self.sign_offs, TEXTS),
            (CERTIFICATES, self.certificates, TEXTS),
        ):
            if rows and (full or len(rows) >= most):
                yield Batch(name, tables[name].columns, rows[:])
                rows.clear()
        if self.trail and (full or len(self.trail) >= ROWS):
            yield Batch(TRAIL, COLUMNS, self.trail[:])
            self.trail.clear()
        if full and self.sealed:
            yield Batch(SEALS, ("certificate_id", "statement_key_id", "paper_key_id", "signature", "code"), self.sealed)
            columns = ("certificate_id", "paper", "pdf", "pdf_sha256")
            yield Batch(Document._meta.db_table, columns, self.documents)

    # ---- Rows of the trail ----

    def _add(self, row: list[Any], text: str) -> None:
        row[NUMBER], row[PREVIOUS] = self.number + 1, self.head
        self.head = row[HASH] = hashlib.sha256(text.encode()).hexdigest()
        self.number += 1
        self.trail.append(row)

    def _office_row(self, given: tuple[Any, ...]) -> Iterator[int]:
        row = list(given)
        row[NUMBER], row[PREVIOUS] = self.number + 1, self.head
        self._add(row, canonical(row))
        yield self.number

    def _rows(self, event: Event) -> Iterator[int]:
        """One row for each likeness, with what it tells of."""
        part, cast = event.part, self.cast
        hashed, prepare = event.hashed, self._prepared(event)
        for likeness, values in enumerate(cast.lives[part.boat]):
            papers = prepare(values, likeness)
            values[NUMBERED] = f'"number":{self.number + 1},"previous_hash":"{self.head}"'
            if event.subject:
                values[SUBJECT] = str(event.subject.first + likeness * event.subject.step)
            row = event.row.fill(values, likeness)
            if papers:
                told = json.loads(row[AFTER]) | papers
                row[AFTER] = rfc8785.dumps(told).decode()
                row[NUMBER], row[PREVIOUS] = self.number + 1, self.head
                self._add(row, canonical(row))
            else:
                self._add(row, hashed.layout % hashed.pick(values))
            yield self.number

    def _prepared(self, event: Event) -> Callable[[Values, int], dict[str, Any]]:
        if event.sign_off:
            return lambda values, likeness: self._sign(event, values, likeness)
        if event.certificate:
            return lambda values, likeness: self._issue(event, values, likeness)
        return lambda values, likeness: {}

    def _sign(self, event: Event, values: Values, likeness: int) -> dict[str, Any]:
        assert event.sign_off is not None  # noqa: S101
        stencil, at, content, slot = event.sign_off
        text = content.layout % content.pick(values)
        if event.first:
            values[slot] = hashlib.sha256(text.encode()).hexdigest()
        row = stencil.fill(values, likeness)
        row[at] = text
        self.sign_offs.append(row)
        return {}

    def _issue(self, event: Event, values: Values, likeness: int) -> dict[str, Any]:
        assert event.certificate is not None  # noqa: S101
        issue = event.certificate
        values[issue.head] = self.head
        values[issue.pair] = f'"head":"{self.head}","number":{self.number}'
        text = issue.snapshot.layout % issue.snapshot.pick(values)
        values[issue.slot] = hashlib.sha256(text.encode()).hexdigest()
        row = issue.row.fill(values, likeness)
        row[issue.snapshot_at] = text
        self.certificates.append(row)
        if likeness or event.part.boat >= self.papers:
            return {}
        return self._papers(int(row[0]), text)

    def _papers(self, certificate: int, text: str) -> dict[str, Any]:
        """Seal and papers of one certificate, by the code that an issue calls; what the trail says of them."""
        keys = self.seal_keys = self.seal_keys or keyring.in_use()
        document = json.loads(text)
        sealed = sealing.prepare(document, text, keys)
        papers = pdf.render_all(document, sealed)
        hashes = {size: snapshot.sha256(content) for size, content in papers.items()}
        self.documents += [(certificate, size, content, hashes[size]) for size, content in papers.items()]
        self.sealed.append((certificate, keys.statement_row.pk, keys.paper_row.pk, sealed.signature, sealed.code))
        told = {"statement_key": sealed.statement_key, "paper_key": sealed.paper_key.identifier}
        return {**told, "documents": hashes}

    # ---- Stencils of the trail ----

    def _part_of(self, row: tuple[Any, ...]) -> Part | None:
        """Whom a row speaks of: the first key, number or address in it that is a boat's own."""
        for value in row:
            for word in WORD.findall(value) if isinstance(value, str) else ():
                if word in self.whose:
                    return self.whose[word]
        return None

    def _event(self, part: Part, row: tuple[Any, ...]) -> Event:
        told = dict(zip(COLUMNS, row, strict=True))
        subject = self._subject(told)
        marked = list(_without_digests(_without_papers(row)))
        if subject:
            marked[SUBJECT_AT] = SUBJECT_WORD
        place = f'"number":{told["number"]},"previous_hash":"{told["previous_hash"]}"'
        hashed = part.words.stencil(canonical(marked), {place: NUMBERED, SUBJECT_WORD: SUBJECT})
        if hashed is None:
            raise AssertionError("a row of the trail without its number")
        stencil = row_of(marked, part.words, leave=[PREVIOUS, HASH], extra={SUBJECT_WORD: SUBJECT})
        event = Event(part, stencil, hashed, subject)
        if told["verb"] in SIGNATURES:
            event.sign_off, event.first = self._sign_off(part, told), told["verb"] == "sign_visit"
        if told["verb"] == "issue_certificate":
            event.certificate = self._certificate(part, told)
        return event

    def _subject(self, told: dict[str, Any]) -> Line | None:
        """Where the trail names its subject by the row's number."""
        if not str(told["subject"]).isdigit():
            return None
        for name, table in self.cast.pattern.tables.items():
            if str(table.model._meta.verbose_name) == told["subject_kind"]:
                return self.cast.lines.get((name, int(told["subject"])))
        return None

    def _sign_off(self, part: Part, told: dict[str, Any]) -> tuple[Row, int, Text, int]:
        table = self.cast.pattern.tables[SIGN_OFFS]
        after = json.loads(told["after"])
        wanted = (after["content_sha256"], SIGNATURES[told["verb"]])
        hash_at, meaning_at, content_at = (table.at(name) for name in ("content_sha256", "meaning", "content"))
        row = next(one for one in part.rows[SIGN_OFFS] if (one[hash_at], one[meaning_at]) == wanted)
        content = part.words.stencil(row[content_at])
        if content is None:
            raise AssertionError("a signature under nothing of the boat's")
        return self.cast.row(part, table, row, leave=("content",)), content_at, content, part.slot(row[hash_at])

    def _certificate(self, part: Part, told: dict[str, Any]) -> Issue:
        table = self.cast.pattern.tables[CERTIFICATES]
        row = next(one for one in part.rows[CERTIFICATES] if one[table.at("number")] == told["certificate"])
        text, head = row[table.at("snapshot")], row[table.at("trail_head")]
        number = json.loads(text)["trail"]["number"]
        pair = f'"head":"{head}","number":{number}'
        filled = part.words.stencil(text, {pair: NUMBERED})
        if filled is None or pair not in text:
            raise AssertionError("a certificate without the trail's head")
        return Issue(
            row=self.cast.row(part, table, row, leave=("snapshot",)),
            snapshot=filled,
            snapshot_at=table.at("snapshot"),
            slot=part.slot(row[table.at("snapshot_sha256")]),
            head=part.slot(head),
            pair=NUMBERED,
        )


def _without_digests(row: tuple[Any, ...]) -> tuple[Any, ...]:
    """The pattern's digests are those of its own rows; a likeness's trail tells without any."""
    told = json.loads(row[AFTER] or "{}")
    kept = {name: value for name, value in told.items() if name not in DIGESTS}
    return row if kept == told else (*row[:AFTER], rfc8785.dumps(kept).decode(), *row[AFTER + 1 :])


def _without_papers(row: tuple[Any, ...]) -> tuple[Any, ...]:
    """An issue tells of no papers and no keys where nothing was rendered and sealed."""
    if row[VERB] != "issue_certificate":
        return row
    told = json.loads(row[AFTER]) | {"statement_key": "", "paper_key": "", "documents": {}}
    return (*row[:AFTER], rfc8785.dumps(told).decode(), *row[AFTER + 1 :])
