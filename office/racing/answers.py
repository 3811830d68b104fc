"""What the public page answers: how a boat's certificate, or one certificate, stands on a date.

Nothing personal: boats, numbers and days only. At most four queries: one for the boats a text may mean, one for
their certificates, one each for the suspensions and amendments of these; for many texts at once four as well.
"""

from __future__ import annotations

import datetime as dt
import re
import unicodedata
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from django.db.models import Prefetch, QuerySet, prefetch_related_objects

from boats.matching import Match, matches, matches_of_many, only_sure
from boats.models import Boat
from office.certificates.models import Amendment, Certificate, Suspension
from office.certificates.standing import standing

# As office.certificates.numbering makes them: prefix, year, running number; typed with or without the hyphens.
_NUMBER = re.compile(r"([A-Za-z0-9]{1,8}?)[\s.-]*([0-9]{4})[\s.-]*([0-9]{4,9})")
_NUMBER_LIKE = re.compile(r"[A-Za-z0-9-]{1,20}")
_DASHES = dict.fromkeys(map(ord, "\u2010\u2011\u2012\u2013\u2014\u2212"), "-")
# What the answer is made of; the snapshot is large and stays where it is.
_COLUMNS = (
    "number", "boat_id", "replaces_id", "valid_from", "valid_until", "in_force_before", "ending", "ended_on",
    "issued_at", "boat__key", "boat__name", "boat__sail_number",
    "successor__number", "successor__valid_from", "successor__replaces_id",
)  # fmt: skip
NONE = "none"


@dataclass(frozen=True, slots=True)
class Paper:
    """One certificate and how it stands on the day asked for."""

    certificate: Certificate
    standing: str

    @property
    def successor(self) -> Certificate | None:
        """The certificate that replaced it."""
        found: Certificate | None = getattr(self.certificate, "successor", None)
        return found

    @property
    def last_day(self) -> dt.date | None:
        """The last day in force as things stand; None where it never came into force."""
        last = self.certificate.in_force_before - dt.timedelta(days=1)
        return last if last >= self.certificate.valid_from else None

    @property
    def suspensions(self) -> list[Suspension]:
        """Those that ever had a day."""
        return [one for one in self.certificate.suspensions.all() if one.lifted_from != one.since]

    @property
    def ended_early(self) -> bool:
        return self.certificate.in_force_before <= self.certificate.valid_until


@dataclass(frozen=True, slots=True)
class Answer:
    """How a boat stands on a day: the certificate that decides, and all her others."""

    boat: Boat
    on: dt.date
    standing: str
    paper: Paper | None
    others: tuple[Paper, ...] = ()


@dataclass(frozen=True, slots=True)
class Found:
    """`answer` for one boat or certificate that is meant without doubt, else the boats that may be meant.

    `asked_paper` is set where a certificate's number was asked for: then that certificate decides.
    """

    answer: Answer | None = None
    asked_paper: Paper | None = None
    candidates: tuple[tuple[Match, Answer], ...] = ()


def normal_number(text: str) -> str:
    """`rm 2026 42…` as a certificate number with its hyphens; "" for what has no such form."""
    plain = unicodedata.normalize("NFKC", text).translate(_DASHES).strip()
    found = _NUMBER.fullmatch(plain)
    return "-".join(found.groups()) if found else ""


def look_up(text: str, on: dt.date) -> Found:
    """Sail number, boat name or certificate number. Several boats are listed, never chosen from."""
    number = normal_number(text)
    if number and (paper := find_certificate(number, on)):
        return Found(answer=_answer(paper.certificate.boat, [paper.certificate], on), asked_paper=paper)
    found = matches(text)
    return _found(found, _answers([match.boat for match in found], on))


def look_up_many(texts: Sequence[str], on: dt.date) -> list[Found]:
    """The same for each text, in a number of queries that does not grow with them: four. `others` stay empty."""
    numbers = [normal_number(text) for text in texts]
    asked = _by_numbers({number for number in numbers if number})
    rest = [place for place, number in enumerate(numbers) if number not in asked]
    meant = dict(zip(rest, matches_of_many([texts[place] for place in rest]), strict=True))
    answers = _deciding((match.boat for found in meant.values() for match in found), asked.values(), on)
    return [
        _found(meant[place], answers)
        if place in meant
        else _found_by_number(Paper(asked[number], str(standing(asked[number], on))), on)
        for place, number in enumerate(numbers)
    ]


def _found_by_number(paper: Paper, on: dt.date) -> Found:
    return Found(answer=Answer(paper.certificate.boat, on, paper.standing, paper), asked_paper=paper)


def _found(found: list[Match], answers: Mapping[int, Answer]) -> Found:
    meant = only_sure(found)
    if meant:
        rest = tuple((match, answers[match.boat.pk]) for match in found if not match.sure)
        return Found(answer=answers[meant.pk], candidates=rest)
    return Found(candidates=tuple((match, answers[match.boat.pk]) for match in found))


def find_certificate(number: str, on: dt.date, *, whole: bool = False) -> Paper | None:
    """A certificate by its number, whatever its case; three queries. `whole` brings what it states as well."""
    if not _NUMBER_LIKE.fullmatch(number):
        return None
    known = _certificates(whole=whole).filter(number__in={number, number.upper(), number.lower()}).first()
    return Paper(known, str(standing(known, on))) if known else None


def _certificates(*, whole: bool = False) -> QuerySet[Certificate]:
    certificates = Certificate.objects.select_related("boat", "successor").prefetch_related(
        "suspensions", Prefetch("amendments", Amendment.objects.defer("snapshot"))
    )
    return certificates if whole else certificates.only(*_COLUMNS)


def _answers(boats: Iterable[Boat], on: dt.date) -> dict[int, Answer]:
    """The answer for each boat by its row, in one query."""
    by_row = {boat.pk: boat for boat in boats}
    theirs = _theirs(by_row, _certificates())
    return {pk: _answer(boat, theirs[pk], on) for pk, boat in by_row.items()}


def _theirs(boats: Mapping[int, Boat], certificates: QuerySet[Certificate]) -> dict[int, list[Certificate]]:
    found: dict[int, list[Certificate]] = {pk: [] for pk in boats}
    if boats:
        for certificate in certificates.filter(boat__in=boats):
            found[certificate.boat_id].append(certificate)
    return found


def _deciding(boats: Iterable[Boat], beside: Iterable[Certificate], on: dt.date) -> dict[int, Answer]:
    """Each boat's answer without her other certificates: suspensions are asked for of those that decide only, and of
    those `beside`."""
    by_row = {boat.pk: boat for boat in boats}
    theirs = _theirs(by_row, Certificate.objects.select_related("boat", "successor").only(*_COLUMNS))
    first = {pk: next(iter(_ranked(theirs[pk], on)), None) for pk in by_row}
    prefetch_related_objects([*(one for one in first.values() if one), *beside], "suspensions")
    papers = {pk: Paper(one, str(standing(one, on))) if one else None for pk, one in first.items()}
    return {
        pk: Answer(boat, on, paper.standing if (paper := papers[pk]) else NONE, paper) for pk, boat in by_row.items()
    }


def _by_numbers(numbers: Collection[str]) -> dict[str, Certificate]:
    """Certificates by the numbers that were asked for, whatever their case, as `find_certificate` finds one."""
    spelled = {number: {number, number.upper(), number.lower()} for number in numbers}
    rows = Certificate.objects.select_related("boat", "successor").only(*_COLUMNS)
    known = {one.number: one for one in rows.filter(number__in=set().union(*spelled.values()))} if spelled else {}
    first = {
        number: max((known[one] for one in each if one in known), key=lambda one: (one.issued_at, one.pk), default=None)
        for number, each in spelled.items()
    }
    return {number: one for number, one in first.items() if one}


def _answer(boat: Boat, certificates: list[Certificate], on: dt.date) -> Answer:
    """The certificate that decides, and the others, the last begun first. A boat without any certificate has none."""
    papers = {one.pk: Paper(one, str(standing(one, on))) for one in _last_begun_first(certificates)}
    first = next((papers[one.pk] for one in _ranked(certificates, on)), None)
    others = tuple(paper for paper in papers.values() if paper is not first)
    return Answer(boat, on, first.standing if first else NONE, first, others)


def _last_begun_first(certificates: Iterable[Certificate]) -> list[Certificate]:
    return sorted(certificates, key=lambda one: (one.valid_from, one.issued_at), reverse=True)


def _ranked(certificates: Iterable[Certificate], on: dt.date) -> Iterator[Certificate]:
    """Whose days hold this one decides, in force or suspended; else the last begun before it; else the next."""
    ordered = _last_begun_first(certificates)
    yield from (one for one in ordered if one.valid_from <= on < one.in_force_before)
    yield from (one for one in ordered if one.valid_from <= on)
    yield from (one for one in reversed(ordered) if on < one.valid_from < one.in_force_before)
    yield from ordered
