"""Rows of the trail: what they say, how they are bound, and that they stand or fall with their change."""

from __future__ import annotations

import hashlib
import json
import re
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest
import rfc8785
from django.db import connections, transaction
from hypothesis import given
from hypothesis import strategies as st

from office.audit import chain, trail
from office.audit.models import Entry, TrailRefusal
from office.people.models import Invitation, RoleHolding
from tests.cast import Cast

BOAT = trail.Subject("boat", "boat-key", "Grey Plover (QQ 417)")


def test_a_row_says_who_in_which_role_what_and_why(cast: Cast):
    number, hash_ = trail.record(
        by=cast.reviewer,
        verb="change particulars",
        subject=BOAT,
        before={"harbour": "Inner"},
        after={"harbour": "Outer"},
        reason="moved",
        boat="boat-key",
        visit="visit-key",
        certificate="RM-1",
    )
    entry = Entry.objects.get()
    assert (entry.number, entry.hash) == (number, hash_) == trail.head()
    assert (entry.actor, entry.role) == (cast.reviewer.key, "reviewer")
    assert (entry.verb, entry.reason) == ("change particulars", "moved")
    assert (entry.subject_kind, entry.subject, entry.subject_label) == ("boat", "boat-key", "Grey Plover (QQ 417)")
    assert (entry.boat, entry.visit, entry.certificate) == ("boat-key", "visit-key", "RM-1")
    assert (json.loads(entry.before), json.loads(entry.after)) == ({"harbour": "Inner"}, {"harbour": "Outer"})
    assert re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{6}Z", entry.at)


@pytest.mark.django_db
def test_rows_are_numbered_from_one_and_follow_each_other():
    assert trail.head() == (0, trail.GENESIS)
    made = [trail.record(by=None, verb=verb, subject=BOAT) for verb in ("one", "two", "three")]
    entries = list(Entry.objects.all())
    assert [entry.number for entry in entries] == [1, 2, 3]
    assert [entry.previous_hash for entry in entries] == [trail.GENESIS, *(hash_ for _, hash_ in made[:2])]


@pytest.mark.django_db
def test_the_hash_is_sha_256_over_the_canonical_form_of_all_other_fields():
    """Computed here from the stored row with the reference library for RFC 8785."""
    trail.record(by=None, verb="naïve “quotes” \\ \t\x1f \u2028", subject=BOAT, after={"b": 1.5, "a": [None, True]})
    row: dict[str, Any] = dict(Entry.objects.values().get())
    hash_ = row.pop("hash")
    assert hashlib.sha256(rfc8785.dumps(row)).hexdigest() == hash_


@given(st.lists(st.text(st.characters(exclude_categories=["Cs"])), min_size=14, max_size=14), st.integers(1, 2**53 - 1))
def test_the_layout_is_the_canonical_form(texts: list[str], number: int):
    values: list[Any] = [*texts[: chain.NUMBER], number, *texts[chain.NUMBER :]]
    assert chain.canonical(values).encode() == rfc8785.dumps(dict(zip(chain.HASHED, values, strict=True)))


def test_every_field_of_a_row_is_under_its_hash():
    assert {field.name for field in Entry._meta.concrete_fields} == {*chain.HASHED, "hash"}


@pytest.mark.django_db(transaction=True)
def test_a_row_outside_the_transaction_of_its_change_is_refused():
    with pytest.raises(trail.OutsideTransaction, match="outside the transaction"):
        trail.record(by=None, verb="try", subject=BOAT)
    assert trail.head() == (0, trail.GENESIS)


@pytest.mark.django_db(transaction=True)
def test_a_change_that_fails_takes_its_row_along_and_leaves_no_gap():
    class OnPurposeError(Exception): ...

    def fail() -> None:
        with transaction.atomic():
            trail.record(by=None, verb="fails", subject=BOAT)
            raise OnPurposeError

    with transaction.atomic():
        trail.record(by=None, verb="first", subject=BOAT)
    with pytest.raises(OnPurposeError):
        fail()
    with transaction.atomic():
        trail.record(by=None, verb="second", subject=BOAT)
    assert list(Entry.objects.values_list("number", "verb")) == [(1, "first"), (2, "second")]
    assert trail.verify() == []


@pytest.mark.django_db(transaction=True)
def test_writers_at_the_same_time_make_one_chain():
    def write(writer: int) -> None:
        try:
            for turn in range(10):
                with transaction.atomic():
                    trail.record(by=None, verb=f"writer {writer}, {turn}", subject=BOAT)
        finally:
            connections.close_all()

    with ThreadPoolExecutor(4) as pool:
        list(pool.map(write, range(4)))
    assert trail.head()[0] == Entry.objects.count() == 40
    assert trail.verify() == []


@pytest.mark.django_db
def test_the_model_refuses_to_save_and_delete():
    trail.record(by=None, verb="try", subject=BOAT)
    entry = Entry.objects.get()
    with pytest.raises(TrailRefusal, match=r"trail\.record only"):
        entry.save()
    with pytest.raises(TrailRefusal, match="never removed"):
        entry.delete()


def test_people_enter_rows_by_key_only(cast: Cast):
    invitation = Invitation(email=cast.owner.email, name=cast.owner.name, key="invitation-key")
    holding = RoleHolding.objects.filter(person=cast.owner).get()
    assert trail.subject_of(cast.owner) == trail.Subject("person", cast.owner.key, "")
    assert trail.subject_of(invitation) == trail.Subject("invitation", "invitation-key", "")
    assert trail.subject_of(holding).label == ""


@pytest.mark.django_db
def test_a_long_label_is_cut_to_what_the_column_holds():
    trail.record(by=None, verb="try", subject=trail.Subject("boat", "key", "x" * 500))
    assert len(Entry.objects.get().subject_label) == 200
    assert trail.verify() == []


@pytest.mark.django_db
def test_the_first_hash_follows_a_constant_that_never_changes():
    """Certificates in owners' hands hang on it."""
    assert hashlib.sha256(b"the trail of a rig measurement office begins here").hexdigest() == trail.GENESIS
