"""From the register's answers to what the interface sends."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Any

from office.certificates.models import Certificate, Seal
from office.certificates.standing import standing
from office.interface import schemas
from office.racing import answers, results
from office.racing import queries as racing_queries
from office.racing.checking import check_entries

if TYPE_CHECKING:
    from boats.models import Boat
    from office.racing.models import EntryList, Event

UNSURE, UNKNOWN = "unsure", "unknown"


def boat_of(boat: Boat) -> schemas.Boat:
    return schemas.Boat(key=boat.key, name=boat.name, sail_number=boat.sail_number)


def certificate_of(paper: answers.Paper | None) -> schemas.Certificate | None:
    return schemas.Certificate(**_facts(paper)) if paper else None


def _facts(paper: answers.Paper) -> dict[str, Any]:
    one, successor = paper.certificate, paper.successor
    return {
        "number": one.number,
        "valid_from": one.valid_from,
        "valid_until": one.valid_until,
        "last_day": paper.last_day,
        "replaced_by": successor.number if successor else None,
    }


def validity(asked: str, on: dt.date) -> schemas.Validity:
    """As the public page answers: several boats are listed, never chosen from."""
    return _validity(asked, on, answers.look_up(asked, on))


def validities(asked: Sequence[str], on: dt.date) -> list[schemas.Validity]:
    """The same for each text, in a number of queries that does not grow with them."""
    return [_validity(text, on, found) for text, found in zip(asked, answers.look_up_many(asked, on), strict=True)]


def _validity(asked: str, on: dt.date, found: answers.Found) -> schemas.Validity:
    answer, paper = found.answer, found.asked_paper
    if paper is None and answer is not None:
        paper = answer.paper
    if answer is not None:
        stands = paper.standing if paper else answers.NONE
    else:
        stands = UNSURE if found.candidates else UNKNOWN
    return schemas.Validity(
        asked=asked,
        on=on,
        standing=stands,
        boat=boat_of(answer.boat) if answer else None,
        certificate=certificate_of(paper),
        candidates=[
            schemas.Candidate(
                boat=boat_of(match.boat),
                why=match.how,
                standing=other.standing,
                certificate=certificate_of(other.paper),
            )
            for match, other in found.candidates
        ],
    )


def last_check(event: Event) -> schemas.Results | None:
    """What the last check of the event's list found, as it was stored; None before the first."""
    check = racing_queries.last_check(event)
    if check is None:
        return None
    found = results.loads(check.results)
    return _results(event, check.entry_list, found, check.counts, check=check.number, checked_at=check.checked_at)


def entries_on(event: Event, on: dt.date) -> schemas.Results | None:
    """How each entry of the list that stands now stands on one day, with what persons have settled; None without one.

    Nothing of it tells the time of the answer, so that it is the same while the content is.
    """
    entry_list = racing_queries.standing_list(event)
    if entry_list is None:
        return None
    entries = racing_queries.entries_of(entry_list).entries
    found = check_entries(entries, on, on, racing_queries.settled(event))
    return _results(event, entry_list, found, results.count(found), on=on)


def _results(
    event: Event, entry_list: EntryList, found: list[results.Result], counts: dict[str, int], **more: Any
) -> schemas.Results:
    extra = racing_queries.entries_of(entry_list).extra
    return schemas.Results(
        event=schemas.EventOut.from_orm(event),
        entry_list=entry_list.number,
        counts=counts,
        results=results.document(found, extra),
        **more,
    )


def listed(certificates: Iterable[Certificate], on: dt.date) -> list[schemas.Listed]:
    papers = [answers.Paper(one, str(standing(one, on))) for one in certificates]
    return [
        schemas.Listed(**_facts(paper), boat=boat_of(paper.certificate.boat), standing=paper.standing)
        for paper in papers
    ]


def stated(paper: answers.Paper, on: dt.date) -> schemas.Stated:
    one = paper.certificate
    seal = Seal.objects.filter(certificate=one).select_related("statement_key").first()
    return schemas.Stated(
        number=one.number,
        on=on,
        standing=paper.standing,
        certificate=schemas.Certificate(**_facts(paper)),
        suspensions=[
            schemas.SuspensionOut(since=each.since, lifted_from=each.lifted_from) for each in paper.suspensions
        ],
        amendments=[
            schemas.AmendmentOut(
                number=each.number,
                issued_at=each.issued_at,
                text=each.text,
                snapshot=json.loads(each.snapshot),
                snapshot_sha256=each.snapshot_sha256,
            )
            for each in one.amendments.all()
        ],
        snapshot=json.loads(one.snapshot),
        snapshot_sha256=one.snapshot_sha256,
        signature=seal.signature if seal else "",
        statement_key=seal.statement_key.identifier if seal else "",
    )
