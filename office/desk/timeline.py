"""Everything that happened to a boat, newest first, from the trail in sentences; each reader sees what is theirs."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from dataclasses import dataclass
from typing import Any

from django import forms
from django.db.models import Count, Max, Q, QuerySet
from django.db.models.functions import Substr

from boats.models import Boat
from office.audit.models import Entry
from office.desk import trail_rows
from office.desk.timeline_words import KINDS, TOGETHER, VERBS, Told, told, verbs_of
from office.people.access import OFFICE, is_office
from office.people.models import Person
from office.people.queries import names_by_key
from office.templatetags.figures import reading_words
from surveys import rules as survey_rules
from surveys.listing import visits_visible_to

A_PAGE = 25
THE_OFFICE, SOMEBODY = "the office", "somebody else"
OTHER = "other"


class TimelineFilter(forms.Form):
    """`before`: the number of the row from which the page goes on, as the page before it says."""

    kind = forms.ChoiceField(
        label="Show", required=False, choices=[("", "Everything"), *KINDS.items(), (OTHER, "Anything else")]
    )
    before = forms.IntegerField(required=False, min_value=1, max_value=2**63 - 1, widget=forms.HiddenInput)


@dataclass(frozen=True, slots=True)
class Happening:
    """One thing that happened. `number` is its row in the trail, or the last of those told together."""

    number: int
    at: dt.datetime
    kind: str
    sentence: str
    changes: tuple[trail_rows.Field, ...]
    reason: str
    visit: str  # keys, only where the reader may open the page
    certificate: str


@dataclass(frozen=True, slots=True)
class Timeline:
    form: TimelineFilter
    happenings: list[Happening]
    older: int | None  # where the next page goes on
    newest: bool


@dataclass(frozen=True, slots=True)
class _Reader:
    """What one person may know: all of it, or the certificates, the boat and the visits they may see."""

    key: str
    office: bool
    knows_all: bool
    visits: frozenset[str]

    def sees(self, visit: str) -> bool:
        return self.knows_all or visit in self.visits

    def named(self, name: str, entry: Entry) -> str:
        """Who did it. Names of the office's people stand in what they sign, not beside every change of a boat."""
        about_visit = bool(entry.visit) and self.sees(entry.visit)
        if self.office or about_visit or entry.actor == self.key or not entry.actor:
            return name
        return THE_OFFICE if set(entry.role.split(", ")).intersection(OFFICE) else SOMEBODY


def timeline_of(boat: Boat, person: Person, asked: Any) -> Timeline:
    """A page of it; a number of queries that does not grow with the history. A filter that is none shows everything."""
    form = TimelineFilter(asked)
    data = form.cleaned_data if form.is_valid() else {}
    kind, before = data.get("kind", ""), data.get("before")
    reader = _reader(boat, person)
    rows = _of_kind(_readable(boat, reader), kind)
    if before is not None:
        rows = rows.filter(number__lt=before)
    single = list(rows.exclude(verb__in=TOGETHER).order_by("-number")[: A_PAGE + 1])
    found = [*_single(single, reader), *_together(boat, reader, kind, before)]
    found.sort(key=lambda one: -one.number)
    page, more = found[:A_PAGE], len(found) > A_PAGE
    return Timeline(form, page, page[-1].number if more else None, before is None)


def _reader(boat: Boat, person: Person) -> _Reader:
    office = is_office(person)
    if office or survey_rules.owns(person, boat):
        return _Reader(person.key, office, knows_all=True, visits=frozenset())
    keys = visits_visible_to(person).filter(boat=boat).values_list("key", flat=True)
    return _Reader(person.key, office=False, knows_all=False, visits=frozenset(keys))


def _readable(boat: Boat, reader: _Reader) -> QuerySet[Entry]:
    rows = Entry.objects.filter(boat=boat.key)
    if reader.knows_all:
        return rows
    return rows.filter(Q(visit__in=reader.visits) | Q(visit="") | ~Q(certificate=""))


def _of_kind(rows: QuerySet[Entry], kind: str) -> QuerySet[Entry]:
    if not kind:
        return rows
    return rows.exclude(verb__in=VERBS) if kind == OTHER else rows.filter(verb__in=verbs_of(kind))


def _single(entries: list[Entry], reader: _Reader) -> list[Happening]:
    return [_happening(row, reader) for row in trail_rows.readable(entries)]


def _happening(row: trail_rows.Row, reader: _Reader) -> Happening:
    entry = row.entry
    one = told(entry.verb, certificate=entry.certificate, visit=entry.visit)
    seen = reader.sees(entry.visit)
    fields = {field.name.replace(" ", "_"): field.after or field.before or "" for field in row.fields}
    return Happening(
        number=entry.number,
        at=row.at,
        kind=KINDS[one.kind],
        sentence=_sentence(one, reader.named(row.who, entry), fields),
        changes=row.fields if one.changes and seen else (),
        reason=entry.reason if seen else "",
        visit=entry.visit if seen else "",
        certificate=entry.certificate,
    )


def _sentence(one: Told, who: str, fields: dict[str, str]) -> str:
    """What a row does not say stays out as a dash: rows written years ago are told too."""
    stated = {name: text or "–" for name, text in fields.items()}
    if "reading" in fields:
        stated["reading"] = reading_words(fields["reading"]).lower() if fields["reading"] else "the visit as a whole"
    text = one.sentence.format_map(defaultdict(lambda: "–", {**stated, "who": who}))
    return text[0].upper() + text[1:] + ("" if text.endswith((".", "?", "!")) else ".")


def _together(boat: Boat, reader: _Reader, kind: str, before: int | None) -> list[Happening]:
    """Readings are many: those of one visit, person and day make one line."""
    groups = (
        _of_kind(_readable(boat, reader), kind)
        .filter(verb__in=TOGETHER)
        .values("visit", "actor", "verb", day=Substr("at", 1, 10))
        .annotate(last=Max("number"), last_at=Max("at"), times=Count("number"))
        .order_by("-last")
    )
    if before is not None:
        groups = groups.filter(last__lt=before)
    rows = list(groups[: A_PAGE + 1])
    names = names_by_key(row["actor"] for row in rows)
    return [
        Happening(
            number=row["last"],
            at=dt.datetime.fromisoformat(row["last_at"]),
            kind=KINDS[VERBS[row["verb"]].kind],
            sentence=_sentence(
                VERBS[row["verb"]],
                names.get(row["actor"], row["actor"]),
                {"times": str(row["times"])},
            ),
            changes=(),
            reason="",
            visit=row["visit"],
            certificate="",
        )
        for row in rows
    ]
