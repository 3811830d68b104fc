"""Every verb of the register: works, wrong role, stranger, wrong state, repeated click; and what stays behind."""

from __future__ import annotations

import datetime as dt

import pytest
from django.db import DatabaseError, transaction

from boats import actions
from boats.models import Boat, Design, DesignLimit, FormerParticulars, Interest, Ownership, Rig
from office.audit.models import Entry
from office.audit.refusals import NotAllowed, Refusal, Stale, WrongState

pytestmark = pytest.mark.django_db
DAY = dt.date(2025, 5, 1)
KEEPERS = ("reviewer", "certifier", "administrator")
OTHERS = ("measurer", "owner", "race_committee", "stranger")
SLOOP = [{"name": "main", "material": "carbon", "spreader_pairs": 2}]


def calls(cast, boat):
    """Every verb that only the office may do, ready to be called by anyone."""
    ownership = actions.add_owner(by=cast.administrator, boat=boat, person=cast.other_owner, since=DAY)
    interest = actions.declare_interest(
        by=cast.administrator, boat=boat, person=cast.second_measurer, kind="builder", since=DAY
    )
    limit = actions.set_limit(
        by=cast.administrator, design=boat.design, dimension="foot", least=1.0, greatest=None, source="sheet 1"
    )
    return {
        "register_boat": lambda by: actions.register_boat(by=by, name="Gannet", sail_number="QUA 5"),
        "change_particulars": lambda by: actions.change_particulars(
            by=by, boat=boat, edition=1, reason="moved", harbour="Elsewhere"
        ),
        "add_owner": lambda by: actions.add_owner(by=by, boat=boat, person=cast.owner, since=DAY),
        "end_ownership": lambda by: actions.end_ownership(by=by, ownership=ownership, until=DAY, reason="sold"),
        "declare_interest": lambda by: actions.declare_interest(
            by=by, boat=boat, person=cast.certifier, kind="designer", since=DAY
        ),
        "end_interest": lambda by: actions.end_interest(by=by, interest=interest, until=DAY, reason="left the yard"),
        "describe_rig": lambda by: actions.describe_rig(
            by=by, boat=boat, since=DAY, rig_type="sloop", masts=SLOOP, reason="seen ashore"
        ),
        "add_design": lambda by: actions.add_design(by=by, name="Petrel 9"),
        "set_limit": lambda by: actions.set_limit(by=by, design=boat.design, dimension="luff", least=1.0, source="s"),
        "end_limit": lambda by: actions.end_limit(by=by, limit=limit, reason="rule withdrawn"),
    }


VERBS = (
    "register_boat", "change_particulars", "add_owner", "end_ownership", "declare_interest", "end_interest",
    "describe_rig", "add_design", "set_limit", "end_limit",
)  # fmt: skip


@pytest.mark.parametrize("part", KEEPERS)
@pytest.mark.parametrize("verb", VERBS)
def test_the_office_may_and_the_trail_tells(cast, boat, verb, part):
    call = calls(cast, boat)[verb]
    person = cast.people()[part]
    rows = Entry.objects.count()
    call(person)
    entry = Entry.objects.get(number=rows + 1)
    assert (entry.verb, entry.actor) == (verb, person.key)
    assert person.name not in entry.before + entry.after + entry.subject_label


@pytest.mark.parametrize("part", OTHERS)
@pytest.mark.parametrize("verb", VERBS)
def test_nobody_else_may_and_nothing_is_stored(cast, boat, verb, part):
    call = calls(cast, boat)[verb]
    rows = Entry.objects.count()
    with pytest.raises(NotAllowed):
        call(cast.people()[part])
    assert Entry.objects.count() == rows


@pytest.mark.parametrize("verb", VERBS)
def test_a_repeated_click_does_nothing_more(cast, boat, verb):
    call = calls(cast, boat)[verb]
    call(cast.administrator)
    rows = Entry.objects.count()
    with pytest.raises((WrongState, Stale)):
        call(cast.administrator)
    assert Entry.objects.count() == rows


def test_someone_no_longer_active_may_nothing(cast):
    cast.administrator.is_active = False
    with pytest.raises(NotAllowed):
        actions.register_boat(by=cast.administrator, name="Gannet", sail_number="QUA 5")


# ---- Boats ----


def test_register_keeps_what_was_typed_beside_what_is_matched(boat):
    assert (boat.sail_number, boat.sail_number_normal, boat.sail_digits) == ("QUA 0117", "QUA117", "117")
    assert (boat.name, boat.name_normal, boat.hin) == ("Sea Lark", "SEALARK", "QU-TRN00042D424")


@pytest.mark.parametrize(
    ("fields", "says"),
    [
        ({"name": " \t "}, "needs at least one letter"),
        ({"name": "x" * 81}, "81 characters"),
        ({"sail_number": "QUA"}, "is not a sail number"),
        ({"sail_number": "Q 1 2 3 4 5 6 7 8 9 0"}, "21 characters"),
        ({"hin": "QU-TRN"}, "14 were expected"),
        ({"year": 1600}, "expected 1850 to"),
        ({"year": 2999}, "is not a year of building"),
        ({"builder": "b" * 121}, "121 characters"),
        ({"harbour": "h" * 81}, "81 characters"),
    ],
)
def test_register_says_what_was_expected(cast, fields, says):
    with pytest.raises(Refusal, match=says):
        actions.register_boat(by=cast.administrator, **{"name": "Gannet", "sail_number": "QUA 5", **fields})
    assert not Boat.objects.exists()


def test_one_hull_number_one_boat(cast, boat):
    with pytest.raises(WrongState, match="registered already, for Sea Lark"):
        actions.register_boat(by=cast.administrator, name="Gannet", sail_number="QUA 5", hin="qutrn00042d424")


def test_same_name_and_number_only_with_two_hulls(cast, boat):
    with pytest.raises(WrongState, match="hull identification number"):
        actions.register_boat(by=cast.administrator, name="sea-lark", sail_number="qua117")
    other = actions.register_boat(by=cast.administrator, name="Sea Lark", sail_number="QUA 117", hin="QUTRN00043D525")
    assert other.pk != boat.pk


def test_two_boats_may_bear_one_sail_number(cast, boat):
    assert actions.register_boat(by=cast.administrator, name="Gannet", sail_number="QUA 117").pk != boat.pk


def test_change_keeps_what_stood(cast, boat):
    actions.change_particulars(
        by=cast.reviewer, boat=boat, edition=1, reason="sold and renamed", name="Kittiwake", design=None
    )
    boat.refresh_from_db()
    assert (boat.name, boat.name_normal, boat.design, boat.edition) == ("Kittiwake", "KITTIWAKE", None, 2)
    former = FormerParticulars.objects.get(boat=boat)
    assert former.edition == 1
    assert former.particulars == {
        "name": "Sea Lark", "sail_number": "QUA 0117", "hin": "QU-TRN00042D424", "design": "Tern 31",
        "builder": "Slipway Nine", "year": 2024, "harbour": "Westhaven",
    }  # fmt: skip
    entry = Entry.objects.latest("number")
    assert (entry.before, entry.after) == (
        '{"design":"Tern 31","name":"Sea Lark"}',
        '{"design":"","name":"Kittiwake"}',
    )
    assert entry.reason == "sold and renamed"


def test_change_needs_a_reason_and_a_change(cast, boat):
    with pytest.raises(Refusal, match="reason is needed"):
        actions.change_particulars(by=cast.reviewer, boat=boat, edition=1, reason=" ", name="Kittiwake")
    with pytest.raises(WrongState, match="Nothing about Sea Lark would change"):
        actions.change_particulars(by=cast.reviewer, boat=boat, edition=1, reason="tidy", name=" Sea  Lark ")


def test_change_from_an_older_form_is_stale(cast, boat):
    loaded_before = Boat.objects.get(pk=boat.pk)
    actions.change_particulars(by=cast.reviewer, boat=boat, edition=1, reason="moved", harbour="Elsewhere")
    for seen in (loaded_before, boat):
        with pytest.raises(Stale, match="changed by someone else"):
            actions.change_particulars(by=cast.certifier, boat=seen, edition=1, reason="moved", harbour="Third")
    assert Boat.objects.get(pk=boat.pk).harbour == "Elsewhere"
    assert FormerParticulars.objects.count() == 1


def test_change_to_another_boats_hull_number_is_refused(cast, boat):
    other = actions.register_boat(by=cast.administrator, name="Gannet", sail_number="QUA 5")
    with pytest.raises(WrongState, match="registered already"):
        actions.change_particulars(by=cast.reviewer, boat=other, edition=1, reason="found", hin=boat.hin)


# ---- Owners and interests ----


def test_an_owner_ends_and_may_come_back(cast, boat):
    first = actions.add_owner(by=cast.reviewer, boat=boat, person=cast.owner, since=DAY)
    actions.end_ownership(by=cast.reviewer, ownership=first, until=dt.date(2025, 6, 1), reason="sold")
    again = actions.add_owner(by=cast.reviewer, boat=boat, person=cast.owner, since=dt.date(2025, 7, 1))
    assert list(Ownership.objects.filter(boat=boat)) == [again, first]


def test_ownership_ends_after_it_begins_and_not_tomorrow(cast, boat):
    held = actions.add_owner(by=cast.reviewer, boat=boat, person=cast.owner, since=DAY)
    with pytest.raises(WrongState, match="lies before the first"):
        actions.end_ownership(by=cast.reviewer, ownership=held, until=dt.date(2025, 4, 30), reason="sold")
    with pytest.raises(WrongState, match="cannot be"):
        actions.end_ownership(by=cast.reviewer, ownership=held, until=dt.date(2999, 1, 1), reason="sold")
    with pytest.raises(Refusal, match="reason is needed"):
        actions.end_ownership(by=cast.reviewer, ownership=held, until=DAY, reason="")
    assert Ownership.objects.get(pk=held.pk).until is None


def test_anyone_declares_their_own_interest_in_a_boat_they_see(cast, boat):
    actions.declare_interest(by=cast.measurer, boat=boat, person=cast.measurer, kind="crew", since=DAY)
    with pytest.raises(NotAllowed):
        actions.declare_interest(by=cast.measurer, boat=boat, person=cast.second_measurer, kind="crew", since=DAY)
    with pytest.raises(NotAllowed):
        actions.declare_interest(by=cast.owner, boat=boat, person=cast.owner, kind="crew", since=DAY)
    with pytest.raises(Refusal, match="not a kind of interest"):
        actions.declare_interest(by=cast.measurer, boat=boat, person=cast.measurer, kind="cook", since=DAY)
    assert Interest.objects.count() == 1


# ---- Rigs ----


def test_a_new_rig_ends_the_former_and_leaves_it(cast, boat, rig):
    new = actions.describe_rig(
        by=cast.reviewer, boat=boat, since=DAY, rig_type="sloop", masts=SLOOP, reason="new mast", outrigger=True
    )
    rig.refresh_from_db()
    assert (rig.until, new.since, new.until, new.number) == (dt.date(2025, 4, 30), DAY, None, 2)
    assert rig.masts.get().mast_identification == "M-301"
    assert new.masts.get().material == "carbon"


def test_a_rig_put_right_the_same_day_was_never_in_use(cast, boat, rig):
    actions.describe_rig(by=cast.reviewer, boat=boat, since=rig.since, rig_type="sloop", masts=SLOOP, reason="typing")
    rig.refresh_from_db()
    assert rig.until < rig.since


def test_a_rig_described_anew_needs_a_reason_a_later_day_and_a_change(cast, boat, rig):
    same = [{"name": "main", "material": "aluminium", "spreader_pairs": 2, "mast_identification": "M-301",
             "boom_identification": "B-88"}]  # fmt: skip
    common = {"by": cast.reviewer, "boat": boat, "rig_type": "sloop"}
    with pytest.raises(Refusal, match="reason is needed"):
        actions.describe_rig(**common, since=DAY, masts=SLOOP)
    with pytest.raises(WrongState, match="expected then or later"):
        actions.describe_rig(**common, since=dt.date(2025, 3, 1), masts=SLOOP, reason="found")
    with pytest.raises(WrongState, match="Nothing about the rig"):
        actions.describe_rig(**common, since=DAY, masts=same, pole_identification="P-12", reason="again")
    with pytest.raises(WrongState, match="cannot be"):
        actions.describe_rig(**common, since=dt.date(2999, 1, 1), masts=SLOOP, reason="planned")
    assert list(Rig.objects.filter(boat=boat, until=None)) == [rig]


def test_a_rig_form_made_before_someone_elses_is_stale(cast, boat, rig):
    common = {"by": cast.reviewer, "boat": boat, "rig_type": "sloop", "masts": SLOOP, "reason": "new mast"}
    actions.describe_rig(**common, since=DAY, number=1)
    with pytest.raises(Stale, match="described anew"):
        actions.describe_rig(**common, since=DAY, number=1)


@pytest.mark.parametrize(
    ("rig_type", "names", "stands"),
    [
        ("sloop", ["main"], True),
        ("cutter", ["main"], True),
        ("ketch", ["mizzen", "main"], True),
        ("yawl", ["main", "mizzen"], True),
        ("schooner", ["fore", "main"], True),
        ("schooner", ["fore", "main", "mizzen"], True),
        ("sloop", ["main", "mizzen"], False),
        ("ketch", ["main"], False),
        ("ketch", ["main", "fore"], False),
        ("schooner", ["main", "main"], False),
        ("sloop", [], False),
        ("lugger", ["main"], False),
        ("sloop", ["jigger"], False),
    ],
)
def test_masts_follow_the_type_of_rig(cast, boat, rig_type, names, stands):
    masts = [{"name": name, "material": "wood"} for name in names]
    if stands:
        made = actions.describe_rig(by=cast.reviewer, boat=boat, since=DAY, rig_type=rig_type, masts=masts)
        order = [name for name in ("main", "mizzen", "fore") if name in names]
        assert [mast.name for mast in made.masts.all()] == order
    else:
        with pytest.raises(Refusal):
            actions.describe_rig(by=cast.reviewer, boat=boat, since=DAY, rig_type=rig_type, masts=masts)
        assert not Rig.objects.exists()


@pytest.mark.parametrize(
    "mast",
    [
        {"material": "steel"},
        {"material": "wood", "spreader_pairs": 10},
        {"material": "wood", "rigging_material": "string"},
        {"material": "wood", "mast_identification": "m" * 61},
    ],
)
def test_a_mast_that_cannot_stand_is_refused(cast, boat, mast):
    with pytest.raises(Refusal):
        actions.describe_rig(by=cast.reviewer, boat=boat, since=DAY, rig_type="sloop", masts=[mast])


# ---- Designs ----


def test_designs_differ_by_more_than_case(cast, design):
    with pytest.raises(WrongState, match="registered already"):
        actions.add_design(by=cast.reviewer, name="TERN  31")
    with pytest.raises(Refusal, match="needs a name"):
        actions.add_design(by=cast.reviewer, name=" ")
    assert Design.objects.count() == 1


def test_a_new_limit_ends_the_former(cast, design):
    common = {"by": cast.reviewer, "design": design, "dimension": "luff"}
    first = actions.set_limit(**common, least=12000.0, greatest=12200.0, source="class sheet 3, clause 2")
    second = actions.set_limit(**common, least=12000.0, greatest=12250.0, source="class sheet 4, clause 2")
    first.refresh_from_db()
    assert first.ended_at == second.since
    assert list(DesignLimit.objects.filter(design=design, ended_at=None)) == [second]


@pytest.mark.parametrize(
    "fields",
    [
        {"dimension": "length_of_everything"},
        {"mast": "jigger"},
        {"source": " "},
        {"least": None, "greatest": None},
        {"least": 2.0, "greatest": 1.0},
        {"least": float("nan")},
        {"greatest": float("inf")},
        {"greatest": 1e9},
    ],
)
def test_a_limit_that_says_nothing_sensible_is_refused(cast, design, fields):
    given = {"dimension": "luff", "least": 1.0, "greatest": 2.0, "source": "class sheet 3", **fields}
    with pytest.raises(Refusal):
        actions.set_limit(by=cast.reviewer, design=design, **given)
    assert not DesignLimit.objects.exists()


# ---- What stood stays ----


def test_the_database_refuses_to_rewrite_what_stood(cast, boat, rig):
    actions.change_particulars(by=cast.reviewer, boat=boat, edition=1, reason="moved", harbour="Elsewhere")
    limit = actions.set_limit(by=cast.reviewer, design=boat.design, dimension="luff", least=1.0, source="sheet 3")
    rewritings = (
        lambda: FormerParticulars.objects.update(reason="another"),
        lambda: FormerParticulars.objects.get().delete(),
        lambda: rig.masts.update(mast_identification="M-0"),
        lambda: Rig.objects.filter(pk=rig.pk).update(rig_type="ketch"),
        lambda: DesignLimit.objects.filter(pk=limit.pk).update(least=2.0),
        limit.delete,
    )
    for rewrite in rewritings:
        with pytest.raises(DatabaseError), transaction.atomic():
            rewrite()
