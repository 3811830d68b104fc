"""Entries of a list against the register: the same is taken, what is near is offered, nothing wrong is taken."""

from __future__ import annotations

import os
import random

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from rapidfuzz.distance import Indel

from boats import near
from boats.list_matching import look_wide, match_list
from boats.models import Boat, NearSpelling
from boats.particulars import as_columns
from tests.boats.register import make_lines, make_register

pytestmark = pytest.mark.django_db

SEEDS = int(os.environ.get("ENTRY_LISTS", "1"))


def boat(sail_number, name):
    return Boat.objects.create(**as_columns({"name": name, "sail_number": sail_number}))


@pytest.fixture
def lark():
    return boat("QUA 117", "Sea Lark")


def only(sail_number, name):
    return match_list([(sail_number, name)])[0]


@pytest.mark.parametrize(
    ("sail_number", "name"),
    [
        ("QUA 117", "Sea Lark"), ("qua-117", "SEALARK"), ("QUA0117", "sea lark"), ("117", "Sea Lark"),
        ("QUA 117", "Sea Lrak"), ("QUA 117", "Sea Larks"), ("QUA 117", ""), ("117", ""), ("", "Sea Lark"),
    ],
)  # fmt: skip
def test_what_is_the_same_to_anybody_is_taken(lark, sail_number, name):
    found = only(sail_number, name)
    assert found.boat is not None
    assert (found.boat.id, found.offered) == (lark.pk, ())


@pytest.mark.parametrize(
    ("sail_number", "name", "why"),
    [
        ("QUA 118", "Sea Lark", "a number one sign off, this name"),
        ("QAU 117", "Sea Lark", "this number with other national letters, this name"),
        ("SKE 117", "Sea Lark", "this number with other national letters, this name"),
        ("QUA 117", "Grey Plover", "this number, another name"),
        ("QUA 1170", "Sea Lrak", "a number one sign off, a name like it"),
        ("117", "Sea Larch", "this number, national letters missing, a name like it"),
        ("QUA 944", "Sea Lark", "another number, this name"),
        ("", "Sea Larc", "a name like it"),
        ("QUA 944", "Sea Lar", "another number, a name like it"),
    ],
)
def test_what_is_near_is_offered_and_never_taken(lark, sail_number, name, why):
    found = only(sail_number, name)
    assert found.boat is None
    assert [(one.boat.id, one.why) for one in found.offered] == [(lark.pk, why)]


def test_what_is_far_is_not_offered(lark):
    assert only("SKE 944", "Whimbrel") == only("", "") == only("\u200f", "…")
    assert only("SKE 944", "Whimbrel").offered == ()


def test_two_boats_under_one_number_are_told_apart_by_their_names_only(lark):
    other = boat("QUA 117", "Grey Plover")
    assert only("QUA 117", "Grey Plover").boat.id == other.pk
    assert only("QUA 117", "Grey Plovr").boat.id == other.pk
    assert only("QUA 117", "").boat is None
    assert {one.boat.id for one in only("QUA 117", "").offered} == {lark.pk, other.pk}


def test_two_boats_alike_in_everything_are_both_offered(lark):
    boat("QUA 117", "Sea Lark")
    assert only("QUA 117", "Sea Lark").boat is None
    assert len(only("QUA 117", "Sea Lark").offered) == 2


def test_a_slip_that_makes_another_boats_number_and_nearly_her_name_takes_neither(lark):
    """The number says one boat, the name fits her neighbour just as well."""
    neighbour = boat("QUA 118", "Sea Larks")
    found = only("QUA 117", "Sea Larks")
    assert found.boat is None
    assert {one.boat.id for one in found.offered} == {lark.pk, neighbour.pk}


def test_letters_that_are_missing_on_either_side(lark):
    plain = boat("204", "Heron")
    assert only("QUA 204", "Heron").boat.id == plain.pk
    boat("SKE 117", "Heron")
    assert only("117", "").boat is None
    assert only("117", "Sea Lark").boat.id == lark.pk


def test_right_to_left_and_combining_signs():
    arabic = boat("QUA 300", "نورس")
    accented = boat("QUA 301", "Été d'Or")
    assert only("QUA 300", "نورس").boat.id == arabic.pk
    assert only("QUA 301", "E\u0301te\u0301 d\u2019or").boat.id == accented.pk
    assert only("QUA\u200f 300", "").boat.id == arabic.pk
    assert only("QUA 301", "Z" + "\u0301" * 90).boat is None


def test_the_index_follows_the_register_however_it_changes(lark):
    only("QUA 118", "Sea Lark")
    assert near.bring_up_to_date() == 0
    Boat.objects.filter(pk=lark.pk).update(**as_columns({"name": "Fulmar", "sail_number": "SKE 900"}))
    assert only("QUA 118", "Sea Lark").offered == ()
    assert [one.boat.id for one in only("SKE 90", "Fulmar").offered] == [lark.pk]
    marks = set(NearSpelling.objects.filter(boat=lark).values_list("mark", flat=True))
    assert marks == set(near.marks_of("SKE900", "900", "FULMAR"))


@pytest.mark.parametrize("written", ["QA 117", "Q7A 117", "QUA 11", "QUA 1177", "QUA 171", "QUA 127", "QUA 117A"])
def test_one_slip_in_a_number_that_stands_alone_is_offered(lark, written):
    boat("SKE 944", "Fulmar")
    assert [one.boat.id for one in only(written, "").offered] == [lark.pk]


def test_a_number_with_a_letter_of_its_own_and_one_without_form():
    lettered, odd = boat("QUA 7A", "Heron"), boat("Dinghy no. 31", "Whimbrel")
    for written in ("QUA 7", "QUA 7B", "QUA 75", "QUA 8A", "QUA 7AA"):
        assert [one.boat.id for one in only(written, "").offered] == [lettered.pk], written
    for written in ("Dinghy no. 3", "Dingy no. 31", "Dinghy no. 32", "Dinghy on. 31"):
        assert [one.boat.id for one in only(written, "").offered] == [odd.pk], written


def test_a_name_like_it_is_offered_only_where_no_boat_bears_the_very_name(lark):
    larks = boat("SKE 944", "Sea Larks")
    assert [one.boat.id for one in only("TAM 3", "Sea Lark").offered] == [lark.pk]
    assert [one.boat.id for one in only("SKE 945", "Sea Lark").offered] == [larks.pk, lark.pk]
    assert {one.boat.id for one in only("TAM 3", "Sea Larkk").offered} == {lark.pk, larks.pk}


@pytest.mark.parametrize("alphabet", ["ABCDE", "AEINORST LM", "نورسÅØ東京A1"])
def test_a_sketch_never_says_that_names_are_less_alike_than_they_are(alphabet):
    dice = random.Random(alphabet)
    for _ in range(2_000):
        one, other = ("".join(dice.choices(alphabet, k=dice.choice((0, 1, 3, 8, 12, 31, 40)))) for _ in range(2))
        assert (
            near.most_alike(near.sketch_of(one), near.sketch_of(other)) >= Indel.normalized_similarity(one, other)
            or not one
        )
    assert near.most_alike(near.sketch_of("HERON"), near.sketch_of("FULMAR")) < 0.5


def test_names_that_differ_much_are_found_on_request(lark):
    assert only("SKE 9", "Sea the Larks").offered == ()
    assert [one.boat.id for one in look_wide("SKE 9", "Sea the Larks")] == [lark.pk]
    assert look_wide("QUA 117", "") == ()


def test_few_statements_however_long_the_list():
    dice = random.Random(7)
    boats = make_register(dice, 400)
    match_list([("QUA 1", "x")])
    counts = []
    for size in (20, 200):
        lines = make_lines(dice, boats, size)
        with CaptureQueriesContext(connection) as queries:
            match_list([(one.sail_number, one.name) for one in lines])
        counts.append(len(queries))
    assert counts[0] == counts[1] <= 7


@pytest.mark.parametrize("seed", range(SEEDS))
def test_a_long_list_with_every_slip(seed):
    """2,000 entries against 4,000 boats whose numbers are all taken and whose names repeat."""
    dice = random.Random(f"entries {seed}")
    boats = make_register(dice, 4_000)
    lines = make_lines(dice, boats, 2_000)
    found = match_list([(one.sail_number, one.name) for one in lines])
    taken_wrongly = [
        (line, one.boat) for line, one in zip(lines, found, strict=True) if one.boat and one.boat.id != line.boat
    ]
    assert taken_wrongly == []
    first: dict[str, list[bool]] = {}
    for line, one in zip(lines, found, strict=True):
        if line.boat is not None:
            likely = one.boat or (one.offered[0].boat if one.offered else None)
            first.setdefault(line.slip, []).append(likely is not None and likely.id == line.boat)
    assert all(first["plain"])
    assert len(first["plain"]) > 400
    assert all(first["form"])
    assert len(first["form"]) > 250
    one_slip = first["number"] + first["name"]
    assert sum(one_slip) >= 0.98 * len(one_slip)
    assert len(one_slip) > 400
    assert sum(first["both"]) >= 0.9 * len(first["both"])
    exact = [one.boat for line, one in zip(lines, found, strict=True) if line.slip == "plain"]
    assert None not in exact
