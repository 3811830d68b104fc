"""Rows and files changed at random behind the office's back: every change is found, and what it touched is named.

OFFICE_TEST_CHANGES sets how many changes there are: 10000 is the whole campaign.
"""

from __future__ import annotations

import hashlib
import os
import random
import time
from collections import Counter
from collections.abc import Callable
from typing import Any

import pytest
from django.db import DatabaseError, connection, transaction

from office.audit import triggers
from office.certificates import constraints, paper
from office.certificates.seal import checking
from office.certificates.verification import certificates, papers
from office.management.commands.verify_register import everything_that_does_not_fit
from tests.campaigns.figures import tell
from tests.campaigns.tampered_office import furnish
from tests.campaigns.tampering import Change, Tamperer, seen
from tests.cast import Cast

CHANGES = int(os.environ.get("OFFICE_TEST_CHANGES", "40"))
MOST_TOLD = 20  # of what was not found, before the trial ends
SEED = int(os.environ.get("OFFICE_TEST_SEED", "20260511"))
AT_ONCE = 8  # changes in different areas of the office, between two walks through the register
MOST_DRAWN = 60  # to find as many

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("own_keys")]


@pytest.fixture
def changeable(cast: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
    """The office furnished; triggers and constraints away, which would refuse most of it, and not asked after."""

    def html_of(document: dict[str, Any], size: str, code: str) -> str:
        return f"<!doctype html><html lang=en><title>{document['number']}</title><p>{size}</html>"

    monkeypatch.setattr(paper, "html_of", html_of)
    furnish(cast)
    assert everything() == []
    connection.check_constraints()  # PostgreSQL alters no table for which a deferred check still waits
    triggers.drop_triggers(connection)
    constraints.drop(connection)
    monkeypatch.setattr(triggers, "missing", lambda connection: [])
    monkeypatch.setattr(constraints, "missing", lambda connection: [])
    # What depends on a paper's bytes alone is worked out once for the same bytes.
    monkeypatch.setattr(certificates, "attached_snapshot", once(papers.attached_snapshot))
    monkeypatch.setattr(checking, "check_paper", once(checking.check_paper))


def once(asked: Callable[..., Any]) -> Callable[..., Any]:
    known: dict[Any, Any] = {}

    def answer(content: bytes, *more: Any, **options: Any) -> Any:
        keys = sorted(map(repr, more[0].keys.values())) if more else []
        of = (hashlib.sha256(content).hexdigest(), *keys)
        if of not in known:
            try:
                known[of] = asked(content, *more, **options)
            except Exception as error:  # noqa: BLE001  (raised as it was, below)
                known[of] = error
        if isinstance(known[of], Exception):
            raise known[of]
        return known[of]

    return answer


def everything() -> list[str]:
    return [f"{one.subject}: {one.sentence}" for one in everything_that_does_not_fit()]


def drawn(tamperer: Tamperer) -> list[Change]:
    """Changes of different areas, so that none hides behind what is said of another: each walk costs; or one alone.

    What is drawn for an area that has one already is let go.
    """
    taken = [tamperer.change()]
    if taken[0].alone:
        return taken
    areas = set(taken[0].areas)
    for _ in range(MOST_DRAWN):
        one = tamperer.change()
        if not one.alone and areas.isdisjoint(one.areas):
            taken.append(one)
            areas |= one.areas
        if len(taken) == AT_ONCE:
            break
    return taken


def made(changes: list[Change]) -> tuple[list[Change], list[str]]:
    """The changes that the database takes, and what the register says then; all of it undone again."""
    taken = []
    try:
        with transaction.atomic():
            for one in changes:
                try:
                    with transaction.atomic():
                        one.do()
                        connection.check_constraints() if connection.vendor == "postgresql" else None
                    taken.append(one)
                except DatabaseError:
                    continue  # a constraint of its own refuses it: nothing was changed
            said = everything() if taken else []
            transaction.set_rollback(True)
    finally:
        for one in taken:
            if one.undo:
                one.undo()
    return taken, said


def test_every_change_is_found_and_named(changeable: None) -> None:
    began, tamperer, walks = time.monotonic(), Tamperer(random.Random(SEED)), 0
    count, kinds = 0, Counter[str]()
    unnamed: list[str] = []
    while count < CHANGES:
        taken, said = made(drawn(tamperer))
        walks += 1
        count += len(taken)
        if count // 1000 > (count - len(taken)) // 1000:
            tell(f"{count} changes, {len(unnamed)} not named, {time.monotonic() - began:.0f} s")
        kinds.update(one.what.split()[0].rpartition(".")[2] for one in taken)
        missed = [f"{one.what}\n    {said[:6]}" for one in taken if not seen(one.names, said)]
        unnamed += missed
        for sentence in missed:
            tell(sentence)
        if len(unnamed) > MOST_TOLD:
            break
    assert not unnamed, f"{len(unnamed)} of {count}:\n" + "\n".join(unnamed[:60])
    assert everything() == []
    tell(
        f"{connection.vendor}: {count} changes, all named, {walks} walks, "
        f"{time.monotonic() - began:.0f} s; {dict(kinds)}"
    )
