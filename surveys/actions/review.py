"""The reviewer's side: take up, ask, return, accept; and the measurer's answers in between."""

from __future__ import annotations

from django.db import transaction
from django.utils import timezone

from computations.catalogue import READINGS
from office.audit import trail
from office.audit.digest import row_sha256
from office.audit.refusals import Stale, WrongState
from office.people.models import Person
from office.policy import queries as policy_queries
from office.policy.models import Unauthorised
from surveys import rules
from surveys.actions.changes import finish, lock, move
from surveys.actions.reasons import given_reason
from surveys.competence import check_authorised
from surveys.content import canonical_content, sha256
from surveys.models import Query, SignOff, Visit
from surveys.queries import latest_sign_off, unanswered
from surveys.values import Unreadable, seen


@transaction.atomic
def begin_review(*, by: Person, visit: Visit) -> Visit:
    """A reviewer takes the signed visit up."""
    lock(visit)
    rules.check_state(visit, "begin_review")
    rules.check_may_review(by, visit)
    visit.reviewer, visit.review_began_at = by, timezone.now()
    return move(
        visit,
        "begin_review",
        by=by,
        verb="begin_review",
        fields=("reviewer", "review_began_at"),
        after={"reviewer": by.key},
    )


@transaction.atomic
def ask_query(*, by: Person, visit: Visit, slug: str, mast: str, position: str, question: str) -> Query:
    """Ask about one reading, or about the visit as a whole where `slug` is empty."""
    lock(visit)
    rules.check_state(visit, "ask_query")
    rules.check_may_review(by, visit)
    if slug and slug not in READINGS:
        raise Unreadable("Reading", slug, "one of the catalogue's readings", "slug")
    mast, position, question = (mast if slug else ""), (position if slug else ""), _text(question, "Question")
    if unanswered(visit).filter(slug=slug, mast=mast, position=position, question=question).exists():
        raise WrongState("This question has been asked already and waits for its answer.")
    query = Query(
        visit=visit,
        slug=slug,
        mast=mast,
        position=position,
        question=question,
        asked_by=by,
        asked_at=timezone.now(),
    )
    query.save()
    finish(visit, by=by, verb="ask_query", after={**_about(query), "question": query.question})
    return query


@transaction.atomic
def return_visit(*, by: Person, visit: Visit, reason: str) -> Visit:
    """Back to the measurer, with its queries; nothing is lost."""
    lock(visit)
    rules.check_state(visit, "return_")
    rules.check_may_review(by, visit)
    waiting = unanswered(visit).count()
    return move(
        visit, "return_", by=by, verb="return_visit", after={"queries": str(waiting)}, reason=given_reason(reason)
    )


@transaction.atomic
def answer_query(*, by: Person, query: Query, answer: str) -> Query:
    """The measurer's answer, before signing again."""
    visit = lock(query.visit)
    rules.check_state(visit, "answer_query")
    rules.check_may_measure(by, visit)
    query.refresh_from_db()
    if query.answered_at is not None or query.settled_at is not None:
        raise WrongState("This query has been answered already.")
    query.answer, query.answered_by, query.answered_at = _text(answer, "Answer"), by, timezone.now()
    query.save(update_fields=["answer", "answered_by", "answered_at"])
    finish(visit, by=by, verb="answer_query", after={**_about(query), "answer": query.answer})
    return query


@transaction.atomic
def settle_query(*, by: Person, query: Query) -> Query:
    """The reviewer is content with the answer, or needs none any more."""
    visit = lock(query.visit)
    rules.check_state(visit, "settle_query")
    rules.check_may_review(by, visit)
    query.refresh_from_db()
    if query.settled_at is not None:
        raise WrongState("This query has been settled already.")
    query.settled_by, query.settled_at = by, timezone.now()
    query.save(update_fields=["settled_by", "settled_at"])
    finish(visit, by=by, verb="settle_query", after=_about(query))
    return query


@transaction.atomic
def accept_visit(*, by: Person, visit: Visit, edition: int, reason: str = "") -> Visit:
    """The reviewer's own signature over the content the measurer signed. Refused where it is not the same any more."""
    lock(visit)
    rules.check_state(visit, "accept")
    rules.check_may_review(by, visit)
    rules.check_edition(visit, edition)
    if unanswered(visit).exists():
        raise WrongState("A query is still open; settle it or return the visit for its answer.")
    edition_of_policy = policy_queries.current()
    if edition_of_policy.on_unauthorised == Unauthorised.BLOCK:
        trail.hold()  # an authorisation withdrawn meanwhile counts
        check_authorised(visit, by, edition_of_policy)
    signed = latest_sign_off(visit)
    content = canonical_content(visit)
    if signed is None or sha256(content) != signed.content_sha256:
        raise Stale(
            "The visit is not what the measurer signed any more; return it, so that it is looked at and signed again."
        )
    now = timezone.now()
    visit.queries.filter(settled_at__isnull=True).update(settled_by=by, settled_at=now)
    accepted = SignOff(
        visit=visit,
        round=signed.round,
        meaning="accepted",
        signed_by=by,
        signed_at=now,
        content=content,
        content_sha256=signed.content_sha256,
    )
    accepted.save(force_insert=True)
    visit.reviewer, visit.accepted_at, visit.acceptance_reason = by, now, reason.strip()
    visit.awaits_certificate = True
    return move(
        visit,
        "accept",
        by=by,
        verb="accept_visit",
        fields=("reviewer", "accepted_at", "acceptance_reason", "awaits_certificate"),
        after={
            "round": str(signed.round),
            "content_sha256": signed.content_sha256,
            "row_sha256": row_sha256(accepted),
        },
        reason=visit.acceptance_reason,
    )


def _text(text: str, what: str) -> str:
    tidy = text.strip()
    if not tidy:
        raise Unreadable(what, "", "some words", what.lower())
    return seen(what, tidy, 2000, what.lower(), lines=True)


def _about(query: Query) -> dict[str, str]:
    where = {"reading": query.slug, "mast": query.mast, "position": query.position} if query.slug else {}
    return {"query": query.key, **where}
