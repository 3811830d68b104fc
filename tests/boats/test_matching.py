"""Which boat a text means: sure, doubtful, several, none; always one query."""

from __future__ import annotations

import pytest

from boats.matching import MOST, matches, matches_of_many, only_sure
from boats.models import Boat
from boats.particulars import as_columns

pytestmark = pytest.mark.django_db


@pytest.fixture
def fleet():
    names = {
        "Sea Lark": "QUA 0117",
        "Sea Larkspur": "QUA 9",
        "Été": "NOD 117",
        "Gannet": "1234",
        "Petrel": "QUA 1234",
        "Old One": "QUA K 7",
        "Twin": "QUA 50",
        "Tw-in": "QUA 51",
    }
    for name, number in names.items():
        Boat.objects.create(**as_columns({"name": name, "sail_number": number}))


@pytest.mark.parametrize(
    ("text", "meant", "others"),
    [
        ("QUA 117", "Sea Lark", ["Été"]),  # the other letters are doubtful, and only named
        ("qua-0117", "Sea Lark", ["Été"]),
        ("117", None, ["Sea Lark", "Été"]),  # two boats bear this number
        ("sea lark", "Sea Lark", ["Sea Larkspur"]),
        ("ete", "Été", []),
        ("1234", None, ["Gannet", "Petrel"]),
        ("QUA 1234", None, ["Gannet", "Petrel"]),  # the one registered without letters may be meant as well
        ("XQZ 1234", "Gannet", ["Petrel"]),
        ("k7", "Old One", []),
        ("twin", None, ["Tw-in", "Twin"]),
        ("se", None, []),
        ("sea", None, ["Sea Lark", "Sea Larkspur"]),
        ("QUA 99", None, []),
        ("", None, []),
        ("%", None, []),
        ("\x00", None, []),
    ],
)
def test_who_is_meant(fleet, django_assert_max_num_queries, text, meant, others):
    with django_assert_max_num_queries(1):
        found = matches(text)
    sure = only_sure(found)
    assert (sure.name if sure else None) == meant
    assert sorted(match.boat.name for match in found if match.boat != sure) == sorted(others)


def test_many_at_once_are_found_as_one_by_one(fleet, django_assert_num_queries):
    for number in range(30):  # more that begin alike than are listed
        Boat.objects.create(**as_columns({"name": f"Seal {number}", "sail_number": f"NOD {200 + number}"}))
    texts = [
        "QUA 117", "qua-0117", "117", "sea lark", "ete", "1234", "QUA 1234", "XQZ 1234", "k7", "twin", "se", "sea",
        "QUA 99", "", "%", "\x00", "_ea", "SEAL", "seal 3", "\ud800", "été d'or", "sea", "0117",
    ]  # fmt: skip
    with django_assert_num_queries(1):
        many = matches_of_many(texts)
    for text, found in zip(texts, many, strict=True):
        assert [(one.boat, one.how, one.sure) for one in found] == [
            (one.boat, one.how, one.sure) for one in matches(text)
        ], text
    assert len(many[texts.index("SEAL")]) == MOST
    assert matches_of_many([]) == []


def test_every_match_says_why(fleet):
    assert [(match.boat.name, match.how, match.sure) for match in matches("QUA 117")] == [
        ("Sea Lark", "this sail number", True),
        ("Été", "this number with other national letters", False),
    ]
    assert [match.how for match in matches("k 7")] == ["this number, national letters missing"]
    assert [(match.how, match.sure) for match in matches("sea lar")] == [("a name that begins alike", False)] * 2
