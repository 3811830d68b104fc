"""Who sees which boat, the search of the list, and where a spar is found."""

from __future__ import annotations

import datetime as dt

import pytest
from django.db import connection

from boats import actions, queries, rules
from boats.models import Boat
from boats.particulars import as_columns
from tests.boats.test_actions import DAY, SLOOP

pytestmark = pytest.mark.django_db


def make(name, number, **fields):
    return Boat.objects.create(**as_columns({"name": name, "sail_number": number, **fields}))


def test_who_sees_which_boat(cast, boat):
    actions.add_owner(by=cast.reviewer, boat=boat, person=cast.owner, since=DAY)
    held = actions.add_owner(by=cast.reviewer, boat=boat, person=cast.other_owner, since=DAY)
    actions.end_ownership(by=cast.reviewer, ownership=held, until=dt.date(2025, 6, 1), reason="sold")
    seeing = {part for part, person in cast.people().items() if boat in queries.boats_visible_to(person)}
    assert seeing == {"measurer", "second_measurer", "reviewer", "certifier", "administrator", "owner"}
    assert seeing == {part for part, person in cast.people().items() if rules.may_see(person, boat)}


def test_an_owner_sees_their_own_only(cast, boat):
    make("Gannet", "QUA 5")
    actions.add_owner(by=cast.reviewer, boat=boat, person=cast.owner, since=DAY)
    assert list(queries.boats_visible_to(cast.owner)) == [boat]


def test_interest_of_a_person_on_a_day(cast, boat):
    held = actions.add_owner(by=cast.reviewer, boat=boat, person=cast.measurer, since=DAY)
    actions.end_ownership(by=cast.reviewer, ownership=held, until=dt.date(2025, 6, 1), reason="sold")
    actions.declare_interest(by=cast.reviewer, boat=boat, person=cast.reviewer, kind="designer", since=DAY)
    days = [dt.date(2025, 4, 30), DAY, dt.date(2025, 6, 1), dt.date(2025, 6, 2)]
    assert [rules.interest_of(cast.measurer, boat, day) for day in days] == ["", "owner", "owner", ""]
    assert [rules.interest_of(cast.reviewer, boat, day) for day in days] == ["", "designer", "designer", "designer"]
    assert rules.interest_of(cast.certifier, boat, DAY) == ""


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("", ["Gannet", "Gull", "Sea Lark"]),
        ("g", ["Gannet", "Gull"]),
        ("GULL", ["Gull"]),
        ("qua", ["Gull", "Sea Lark"]),
        ("QUA 11", ["Sea Lark"]),
        ("11", ["Gannet", "Sea Lark"]),
        ("qua-0117", ["Sea Lark"]),
        ("NOD 1180", ["Gannet"]),  # registered without letters
        ("zzz", []),
        ("%", []),
        ("_gull", ["Gull"]),  # signs make no difference
        ("\x00", []),
        ("😀", []),
    ],
)
def test_search_by_beginning(django_assert_max_num_queries, text, found):
    make("Sea Lark", "QUA 0117")
    make("Gull", "QUA 5")
    make("Gannet", "1180")
    with django_assert_max_num_queries(1):
        assert sorted(boat.name for boat in queries.search(Boat.objects.all(), text)) == found


def test_where_a_spar_is_found(cast, boat, rig, django_assert_num_queries):
    other = make("Gannet", "QUA 5")
    mast = [{"name": "main", "material": "aluminium", "mast_identification": "m-301", "boom_identification": "B-90"}]
    moved = actions.describe_rig(by=cast.reviewer, boat=other, since=DAY, rig_type="cutter", masts=mast)
    with django_assert_num_queries(2):
        places = queries.spar_places(["M-301", "P-12", "B-0", ""])
    assert {mark: {(what, at.pk) for what, at in found} for mark, found in places.items()} == {
        "M-301": {("mast", rig.pk), ("mast", moved.pk)},
        "P-12": {("pole", rig.pk)},
    }


def test_the_rig_of_today(cast, boat, rig):
    assert queries.current_rig(boat) == rig
    new = actions.describe_rig(by=cast.reviewer, boat=boat, since=DAY, rig_type="sloop", masts=SLOOP, reason="new mast")
    assert queries.current_rig(boat) == new


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("dor", ["Été d'Or"]),
        ("or", ["Été d'Or"]),
        ("heron", ["Blue Heron II", "Heron"]),
        ("heron ii", ["Blue Heron II"]),
        ("ii blue", ["Blue Heron II"]),  # each word begins one of hers, in any order
        ("blue her i", ["Blue Heron II"]),
        ("b h", ["Blue Heron II"]),
        ("eron", []),  # not from within a word
        ("blue heron iii", []),
        ("wind", ["The Old West Wind Blows"]),
        ("blows", []),  # from the fifth word on a name is not looked for …
        ("blows old", []),
        ("old the", ["The Old West Wind Blows"]),
    ],
)
def test_a_boat_is_found_by_any_word_of_her_name(django_assert_max_num_queries, text, found):
    for number, name in enumerate(("Blue Heron II", "Heron", "Été d'Or", "The Old West Wind Blows"), 700):
        make(name, f"QUA {number}")
    with django_assert_max_num_queries(1):
        assert sorted(boat.name for boat in queries.search(Boat.objects.all(), text)) == found


def test_a_change_of_name_changes_what_she_is_found_by(cast):
    boat = actions.register_boat(by=cast.administrator, name="Blue Heron", sail_number="QUA 9")
    actions.change_particulars(by=cast.administrator, boat=boat, edition=1, name="Grey Plover", reason="renamed")
    assert [list(queries.search(Boat.objects.all(), text)) for text in ("heron", "plover")] == [[], [boat]]


def test_a_search_stops_but_its_file_does_not():
    Boat.objects.bulk_create(
        Boat(**as_columns({"name": f"Tern {n}", "sail_number": f"QUA {n + 100}"}))
        for n in range(queries.MOST_FOUND + 7)
    )
    assert queries.search(Boat.objects.all(), "tern").count() == queries.MOST_FOUND
    assert queries.search(Boat.objects.all(), "tern", most=None).count() == queries.MOST_FOUND + 7


@pytest.mark.parametrize("text", ["QUA 11", "117", "sea la", "blue heron ii"])
def test_search_reads_indexes_never_the_whole_register(text):
    if connection.vendor == "sqlite":
        plan = queries.search(Boat.objects.all(), text).order_by("name_normal", "pk").explain()
        assert "SCAN boats_boat" not in plan
        assert "SCAN U0" not in plan
        assert plan.count("INDEX boats_boat_") >= 2
    else:  # a small table is read whole whatever its indexes: that the ones for LIKE are there is what can be asked
        with connection.cursor() as cursor:
            indexes = connection.introspection.get_constraints(cursor, "boats_boat")
        assert {name.split("_")[-1] for name in indexes} >= {"like"}
        assert sum(name.endswith("_like") for name in indexes) >= 3
