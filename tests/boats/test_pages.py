"""The pages of the register: who reaches them, what they store, and that nothing typed is lost."""

from __future__ import annotations

import csv
import io
from urllib.parse import urlencode

import openpyxl
import pytest
from django.urls import reverse

from boats import actions
from boats.models import Boat, Design, DesignLimit, FormerParticulars, Interest, Ownership, Rig
from boats.particulars import as_columns
from office.audit.models import Entry
from tests.boats.test_actions import DAY, SLOOP

pytestmark = [pytest.mark.django_db, pytest.mark.any_database]

TYPED = {"name": "Gannet", "sail_number": "QUA 5", "hin": "", "design": "", "builder": "", "year": "", "harbour": ""}
OFFICE = {"reviewer", "certifier", "administrator"}
SEES_ALL = OFFICE | {"measurer", "second_measurer"}


@pytest.fixture
def enter(client, cast):
    def as_part(part):
        client.force_login(cast.people()[part])
        return client

    return as_part


def pages(boat, cast):
    """Every page of the register with the parts that reach it; the boat is Petra's."""
    key, design = boat.key, boat.design.key
    return {
        reverse("boats:list"): SEES_ALL | {"owner", "other_owner"},
        reverse("boats:export", args=["csv"]): SEES_ALL | {"owner", "other_owner"},
        reverse("boats:export", args=["xlsx"]): SEES_ALL | {"owner", "other_owner"},
        reverse("boats:register"): OFFICE,
        reverse("boats:spars"): SEES_ALL,
        reverse("boats:designs"): SEES_ALL,
        reverse("boats:design_add"): OFFICE,
        reverse("boats:design", args=[design]): SEES_ALL,
        reverse("boats:end_limit", args=[design, "foot", "main"]): OFFICE,
        reverse("boats:particulars", args=[key]): OFFICE,
        reverse("boats:rig", args=[key]): OFFICE,
        reverse("boats:owners", args=[key]): OFFICE,
        reverse("boats:end_ownership", args=[key, cast.owner.key]): OFFICE,
        reverse("boats:end_interest", args=[key, cast.measurer.key, "crew"]): OFFICE,
        reverse("boats:own_interest", args=[key]): SEES_ALL | {"owner"},
    }


def test_who_reaches_which_page(enter, cast, boat, rig, client):
    actions.add_owner(by=cast.reviewer, boat=boat, person=cast.owner, since=DAY)
    actions.declare_interest(by=cast.reviewer, boat=boat, person=cast.measurer, kind="crew", since=DAY)
    actions.set_limit(by=cast.reviewer, design=boat.design, dimension="foot", greatest=4000.0, source="sheet 1")
    for address, parts in pages(boat, cast).items():
        client.logout()
        assert client.get(address).status_code == 302, address
        reached = {part for part in cast.people() if enter(part).get(address).status_code == 200}
        refused = {part for part in cast.people() if enter(part).get(address).status_code == 403}
        assert (reached, refused) == (parts, cast.people().keys() - parts), address


def test_whoever_may_not_change_stores_nothing_by_posting(enter, cast, boat, rig):
    actions.add_owner(by=cast.reviewer, boat=boat, person=cast.owner, since=DAY)
    actions.set_limit(by=cast.reviewer, design=boat.design, dimension="foot", greatest=4000.0, source="sheet 1")
    rows = Entry.objects.count()
    limit = {"dimension": "luff", "mast": "main", "least": "1", "greatest": "", "source": "s"}
    ending = {"until": "2025-06-01", "reason": "sold"}
    for part in ("measurer", "owner", "race_committee", "stranger"):
        client = enter(part)
        posts = {
            reverse("boats:register"): TYPED,
            reverse("boats:particulars", args=[boat.key]): {**TYPED, "edition": 1, "reason": "r"},
            reverse("boats:rig", args=[boat.key]): rig_typed(number=1, reason="r"),
            reverse("boats:owners", args=[boat.key]): {"person": cast.other_owner.key, "since": "2025-06-01"},
            reverse("boats:end_ownership", args=[boat.key, cast.owner.key]): ending,
            reverse("boats:design_add"): {"name": "Petrel"},
            reverse("boats:design", args=[boat.design.key]): limit,
            reverse("boats:end_limit", args=[boat.design.key, "foot", "main"]): {"reason": "r"},
        }
        for address, typed in posts.items():
            assert client.post(address, typed).status_code == 403, (part, address)
    assert Entry.objects.count() == rows


@pytest.mark.parametrize("name", ["boats:particulars", "boats:rig", "boats:owners", "boats:own_interest"])
def test_an_unknown_boat_is_not_found(enter, name):
    assert enter("administrator").get(reverse(name, args=["no-such-key"])).status_code == 404


# ---- The list ----


def fleet(count):
    Boat.objects.bulk_create(
        Boat(**as_columns({"name": f"Boat {n:03}", "sail_number": f"QUA {n + 1000}", "harbour": f"H{n % 7}"}))
        for n in range(count)
    )


def test_the_list_asks_no_more_for_more_boats(enter, django_assert_num_queries, django_assert_max_num_queries):
    client = enter("reviewer")
    address = reverse("boats:list")
    fleet(3)
    with django_assert_max_num_queries(12) as few:
        client.get(address)
    fleet_more = [Boat(**as_columns({"name": f"More {n}", "sail_number": f"QUA {n + 5000}"})) for n in range(150)]
    Boat.objects.bulk_create(fleet_more)
    with django_assert_num_queries(len(few.captured_queries)):
        page = client.get(address)
    assert page.context["page"].paginator.count == 153
    with django_assert_num_queries(len(few.captured_queries)):
        client.get(address, {"q": "more", "sort": "-sail", "page": 2})


@pytest.mark.parametrize(
    ("sort", "first"),
    [("name", "Ash"), ("-name", "Yew"), ("sail", "Yew"), ("-sail", "Ash"), ("year", "Elm"), ("nonsense", "Ash")],
)
def test_the_list_sorts_as_its_address_says(enter, sort, first):
    for name, number, year in (("Ash", "QUA 9", 2001), ("Elm", "QUA 8", 1999), ("Yew", "QUA 7", 2005)):
        Boat.objects.create(**as_columns({"name": name, "sail_number": number}), year=year)
    page = enter("reviewer").get(reverse("boats:list"), {"sort": sort})
    assert page.context["page"].object_list[0].name == first


def test_the_list_filters_and_keeps_the_address(enter, boat):
    Boat.objects.create(**as_columns({"name": "Gannet", "sail_number": "QUA 5"}))
    client = enter("reviewer")
    by_number = client.get(reverse("boats:list"), {"q": "qua-0117"})
    by_design = client.get(reverse("boats:list"), {"design": boat.design.key})
    nothing = client.get(reverse("boats:list"), {"q": "zebra"})
    assert [row.name for row in by_number.context["page"]] == ["Sea Lark"]
    assert [row.name for row in by_design.context["page"]] == ["Sea Lark"]
    assert "No boat fits" in nothing.content.decode()
    assert "export.csv?q=qua-0117" in by_number.content.decode()


@pytest.mark.parametrize("odd", [{"q": "\0"}, {"q": "x" * 500}, {"design": "\0"}, {"design": "none"}, {"page": "-3"}])
def test_odd_addresses_of_the_list_are_answered(enter, odd):
    assert enter("reviewer").get(reverse("boats:list") + "?" + urlencode(odd)).status_code == 200


def test_an_owner_lists_and_exports_their_own(enter, cast, boat):
    Boat.objects.create(**as_columns({"name": "Gannet", "sail_number": "QUA 5"}))
    actions.add_owner(by=cast.reviewer, boat=boat, person=cast.owner, since=DAY)
    client = enter("owner")
    assert [row.name for row in client.get(reverse("boats:list")).context["page"]] == ["Sea Lark"]
    assert "Gannet" not in client.get(reverse("boats:export", args=["csv"])).content.decode()


@pytest.mark.parametrize("name", ["=1+2", "+cmd", "-3", "@sum", "＝1+2"])
def test_export_holds_no_formula(enter, name):
    Boat.objects.create(**as_columns({"name": name + " x", "sail_number": "QUA 5"}))
    client = enter("reviewer")
    rows = list(csv.reader(io.StringIO(client.get(reverse("boats:export", args=["csv"])).content.decode())))
    assert rows[0][:2] == ["boat", "sail_number"]
    assert rows[1][0] == f"'{name} x"
    sheet = openpyxl.load_workbook(io.BytesIO(client.get(reverse("boats:export", args=["xlsx"])).content)).active
    assert (sheet["A2"].value, sheet["A2"].data_type) == (f"'{name} x", "s")


def test_export_takes_the_filter_and_every_page(enter):
    fleet(70)
    client = enter("reviewer")
    every = client.get(reverse("boats:export", args=["csv"])).content.decode().splitlines()
    some = client.get(reverse("boats:export", args=["csv"]), {"q": "boat 00"}).content.decode().splitlines()
    assert (len(every), len(some)) == (71, 11)
    assert client.get(reverse("boats:export", args=["exe"])).status_code == 404


# ---- Registering and changing ----


def test_register_then_describe_the_rig(enter):
    answer = enter("reviewer").post(reverse("boats:register"), {**TYPED, "hin": "qutrn00042d424", "year": "2024"})
    boat = Boat.objects.get()
    assert answer.url == reverse("boats:rig", args=[boat.key])
    assert (boat.name, boat.hin, boat.year) == ("Gannet", "QU-TRN00042D424", 2024)


def test_register_says_everything_at_once_and_keeps_what_was_typed(enter):
    typed = {
        "name": "",
        "sail_number": "boat",
        "hin": "QU-TRN",
        "year": "nineteen",
        "builder": "Slipway",
        "design": "x",
    }
    answer = enter("reviewer").post(reverse("boats:register"), typed)
    page = answer.content.decode()
    assert answer.status_code == 422
    assert set(answer.context["form"].errors) == {"name", "sail_number", "hin", "year", "design"}
    assert 'value="Slipway"' in page
    assert 'value="nineteen"' in page
    assert not Boat.objects.exists()


def test_register_the_same_twice_is_refused(enter):
    client = enter("reviewer")
    client.post(reverse("boats:register"), TYPED)
    answer = client.post(reverse("boats:register"), {**TYPED, "also_meant": "on"})
    assert answer.status_code == 422
    assert "registered already" in answer.content.decode()
    assert Boat.objects.count() == 1


def test_a_sail_number_borne_twice_must_be_meant(enter, boat):
    client = enter("reviewer")
    typed = {**TYPED, "sail_number": "qua-117"}
    first = client.post(reverse("boats:register"), typed)
    assert first.status_code == 422
    assert "bears this sail number already" in first.content.decode()
    assert client.post(reverse("boats:register"), {**typed, "also_meant": "on"}).status_code == 302


def change_typed(**changes):
    stands = {
        "name": "Sea Lark", "sail_number": "QUA 0117", "hin": "QU-TRN00042D424", "design": "",
        "builder": "Slipway Nine",
        "year": "2024", "harbour": "Westhaven", "reason": "moved", "edition": "1",
    }  # fmt: skip
    return {**stands, **changes}


def test_change_particulars(enter, boat):
    address = reverse("boats:particulars", args=[boat.key])
    client = enter("certifier")
    form = client.get(address).context["form"]
    assert form["design"].value() == boat.design.key
    answer = client.post(address, change_typed(harbour="Elsewhere", design=boat.design.key))
    assert answer.url == reverse("desk:boat", args=[boat.key])
    assert Boat.objects.get().harbour == "Elsewhere"
    assert FormerParticulars.objects.get().particulars["harbour"] == "Westhaven"


def test_a_stale_change_is_said_and_nothing_typed_is_lost(enter, cast, boat):
    actions.change_particulars(by=cast.reviewer, boat=boat, edition=1, reason="sold", harbour="Third Harbour")
    client = enter("certifier")
    address = reverse("boats:particulars", args=[boat.key])
    answer = client.post(address, change_typed(name="Kittiwake", design=boat.design.key))
    page = answer.content.decode()
    assert answer.status_code == 422
    assert "changed by someone else" in page
    assert "Third Harbour" in page  # what stands now
    assert 'value="Kittiwake"' in page  # what was typed
    assert 'value="2"' in page  # sent again, it is made from what stands now
    assert Boat.objects.get().name == "Sea Lark"
    again = client.post(address, change_typed(name="Kittiwake", design=boat.design.key, edition="2"))
    assert again.status_code == 302
    assert Boat.objects.get().name == "Kittiwake"


def test_sending_a_stale_form_again_does_not_undo_the_others_change(enter, cast, boat):
    actions.change_particulars(by=cast.reviewer, boat=boat, edition=1, reason="found", builder="Yard Ten", design=None)
    client = enter("certifier")
    address = reverse("boats:particulars", args=[boat.key])
    form = client.post(address, change_typed(harbour="Elsewhere", design=Design.objects.get().key)).context["form"]
    again = {name: form[name].value() or "" for name in form.fields}
    assert client.post(address, again).status_code == 302
    after = Boat.objects.get()
    assert (after.harbour, after.builder, after.design) == ("Elsewhere", "Yard Ten", None)


@pytest.mark.parametrize("edition", ["", "x", "99999999999999999999999", "-1"])
def test_an_edition_nobody_saw_changes_nothing(enter, boat, edition):
    answer = enter("certifier").post(
        reverse("boats:particulars", args=[boat.key]), change_typed(name="Kittiwake", edition=edition)
    )
    assert answer.status_code == 422
    assert Boat.objects.get().name == "Sea Lark"


# ---- Owners and interests ----


def test_name_an_owner_and_end_the_ownership(enter, cast, boat):
    client = enter("administrator")
    owners = reverse("boats:owners", args=[boat.key])
    assert client.post(owners, {"person": cast.owner.key, "since": "2025-05-01"}).url == owners
    twice = client.post(owners, {"person": cast.owner.key, "since": "2025-05-01"})
    assert (twice.status_code, Ownership.objects.count()) == (422, 1)
    end = reverse("boats:end_ownership", args=[boat.key, cast.owner.key])
    assert client.post(end, {"until": "2025-04-01", "reason": "sold"}).status_code == 422
    assert client.post(end, {"until": "2025-06-01", "reason": "sold"}).url == owners
    assert client.post(end, {"until": "2025-06-02", "reason": "sold"}).status_code == 409
    assert str(Ownership.objects.get().until) == "2025-06-01"


def test_record_an_interest_and_end_it(enter, cast, boat):
    client = enter("reviewer")
    owners = reverse("boats:owners", args=[boat.key])
    typed = {"person": cast.measurer.key, "kind": "builder", "since": "2025-05-01", "remark": ""}
    assert client.post(reverse("boats:interests", args=[boat.key]), typed).url == owners
    assert client.post(reverse("boats:interests", args=[boat.key]), {**typed, "kind": "cook"}).status_code == 422
    end = reverse("boats:end_interest", args=[boat.key, cast.measurer.key, "builder"])
    assert client.post(end, {"until": "2025-06-01", "reason": "left the yard"}).url == owners
    assert client.get(end).status_code == 409
    assert client.get(reverse("boats:end_interest", args=[boat.key, cast.owner.key, "crew"])).status_code == 404


def test_a_measurer_declares_their_own_interest(enter, cast, boat):
    address = reverse("boats:own_interest", args=[boat.key])
    answer = enter("measurer").post(address, {"kind": "crew", "since": "2025-05-01", "remark": "two seasons"})
    assert answer.url == reverse("desk:boat", args=[boat.key])
    assert Interest.objects.get().person == cast.measurer


# ---- Rigs ----


def rig_typed(**changes):
    """A sloop as the form sends it; the masts she does not have are left alone."""
    typed = {"rig_type": "sloop", "since": "2025-05-01", "number": "0", "reason": "", "pole_identification": ""}
    for mast in ("main", "mizzen", "fore"):
        typed[f"{mast}-material"] = "carbon" if mast == "main" else ""
        typed[f"{mast}-upper_band"] = "on"
    return {**typed, **changes}


def test_describe_a_sloop_and_then_a_ketch(enter, boat):
    client = enter("reviewer")
    address = reverse("boats:rig", args=[boat.key])
    typed = rig_typed(spinnaker="yes", pole="no", **{"main-spreader_pairs": "2", "main-mast_identification": " M-301 "})
    assert client.post(address, typed).url == reverse("desk:boat", args=[boat.key])
    first = Rig.objects.get()
    assert (first.spinnaker, first.pole, first.bowsprit) == (True, False, None)
    assert (first.masts.get().mast_identification, first.masts.get().spreader_pairs) == ("M-301", 2)
    ketch = rig_typed(rig_type="ketch", number="1", reason="mizzen stepped", **{"mizzen-material": "wood"})
    assert client.post(address, ketch).status_code == 302
    assert [mast.name for mast in Rig.objects.get(number=2).masts.all()] == ["main", "mizzen"]
    form = client.get(address).context["forms"]
    assert form.masts[1]["material"].value() == "wood"


def test_a_rig_with_the_wrong_masts_is_said_and_kept(enter, boat):
    typed = rig_typed(rig_type="ketch", **{"main-mast_identification": "M-301", "main-spreader_pairs": "99"})
    answer = enter("reviewer").post(reverse("boats:rig", args=[boat.key]), typed)
    assert answer.status_code == 422
    assert "Pairs of spreaders" in answer.content.decode()
    typed["main-spreader_pairs"] = "2"
    answer = enter("reviewer").post(reverse("boats:rig", args=[boat.key]), typed)
    assert "A ketch has these masts: main and mizzen; found: main." in answer.content.decode()
    assert 'value="M-301"' in answer.content.decode()
    assert not Rig.objects.exists()


def test_a_stale_rig_form_is_said_and_nothing_typed_is_lost(enter, cast, boat, rig):
    actions.describe_rig(by=cast.reviewer, boat=boat, since=DAY, rig_type="sloop", masts=SLOOP, reason="new mast")
    client = enter("certifier")
    address = reverse("boats:rig", args=[boat.key])
    typed = rig_typed(number="1", reason="new boom", **{"main-boom_identification": "B-99"})
    answer = client.post(address, typed)
    page = answer.content.decode()
    assert answer.status_code == 422
    assert "described anew by someone else" in page
    assert 'value="B-99"' in page
    assert Rig.objects.count() == 2
    assert client.post(address, {**typed, "number": answer.context["forms"].rig["number"].value()}).status_code == 302


# ---- Spars and designs ----


def test_find_a_spar(enter, cast, boat, rig):
    other = Boat.objects.create(**as_columns({"name": "Gannet", "sail_number": "QUA 5"}))
    moved = [{**SLOOP[0], "mast_identification": "M-301"}]
    actions.describe_rig(by=cast.reviewer, boat=other, since=DAY, rig_type="sloop", masts=moved)
    page = enter("measurer").get(reverse("boats:spars"), {"mark": "m-301"}).content.decode()
    assert "Sea Lark" in page
    assert "Gannet" in page
    assert "No spar bears" in enter("measurer").get(reverse("boats:spars"), {"mark": "M-9"}).content.decode()
    assert enter("measurer").get(reverse("boats:spars"), {"mark": "\0"}).status_code == 200


def test_add_a_design_set_a_limit_and_end_it(enter):
    client = enter("administrator")
    answer = client.post(reverse("boats:design_add"), {"name": "Petrel 9", "designer": "", "remark": ""})
    assert client.post(reverse("boats:design_add"), {"name": "petrel 9"}).status_code == 422
    typed = {"dimension": "luff", "mast": "main", "least": "12000,5", "greatest": "", "source": "class sheet 3"}
    assert client.post(answer.url, typed).url == answer.url
    assert DesignLimit.objects.get().least == 12000.5
    assert client.post(answer.url, typed).status_code == 422
    client.post(answer.url, {**typed, "least": "12001"})
    page = client.get(answer.url).content.decode()
    assert "Ended limits" in page
    end = answer.url + "limits/luff/main/end/"
    assert client.post(end, {"reason": ""}).status_code == 422
    assert client.post(end, {"reason": "sheet withdrawn"}).url == answer.url
    assert client.post(end, {"reason": "sheet withdrawn"}).status_code == 409


@pytest.mark.parametrize("least", ["nan", "inf", "1e400", "-1e400", "twelve", "1e8"])
def test_a_limit_must_be_a_number(enter, design, least):
    typed = {"dimension": "luff", "mast": "main", "least": least, "greatest": "", "source": "class sheet 3"}
    answer = enter("administrator").post(reverse("boats:design", args=[design.key]), typed)
    assert answer.status_code == 422
    assert not DesignLimit.objects.exists()
