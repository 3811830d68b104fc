"""The page of one boat: what each reader sees of particulars, owners, rig, visits, figures and certificates."""

from __future__ import annotations

import datetime as dt

import pytest
from django.urls import reverse

from boats import actions as boat_actions
from boats.models import Boat
from boats.particulars import as_columns
from office.certificates.actions import issue, withdraw
from office.policy.actions import change_policy
from tests.surveys.makers import Stage, record_kit, register_boat

pytestmark = pytest.mark.django_db
SEES = {"measurer", "second_measurer", "reviewer", "certifier", "administrator", "owner"}


@pytest.fixture
def stage(cast):
    return Stage(cast, register_boat(cast), record_kit(cast))


@pytest.fixture
def read(client, cast):
    """The boat's page as one part of the cast reads it."""

    def as_part(part, boat):
        client.force_login(cast.people()[part])
        return client.get(reverse("desk:boat", args=[boat.key]))

    return as_part


def test_who_reads_a_boats_page(client, read, cast, stage):
    assert client.get(reverse("desk:boat", args=[stage.boat.key])).status_code == 302
    statuses = {part: read(part, stage.boat).status_code for part in cast.people()}
    assert {part for part, status in statuses.items() if status == 200} == SEES
    assert {status for part, status in statuses.items() if part not in SEES} == {403}


def test_an_owner_of_yesterday_reads_it_no_more(read, cast, stage):
    held = stage.boat.ownerships.get()
    boat_actions.end_ownership(by=cast.reviewer, ownership=held, until=dt.date(2025, 1, 1), reason="sold")
    assert read("owner", stage.boat).status_code == 403


def test_an_unknown_boat_is_not_found(client, cast):
    client.force_login(cast.reviewer)
    assert client.get("/desk/boats/no-such-key/").status_code == 404


def test_what_each_may_do_there(read, stage):
    actions = {
        reverse("surveys:ask", args=[stage.boat.key]): {"reviewer", "certifier", "administrator", "owner"},
        reverse("boats:particulars", args=[stage.boat.key]): {"reviewer", "certifier", "administrator"},
        reverse("boats:rig", args=[stage.boat.key]): {"reviewer", "certifier", "administrator"},
        reverse("boats:owners", args=[stage.boat.key]): {"reviewer", "certifier", "administrator"},
        reverse("boats:own_interest", args=[stage.boat.key]): SEES,
        f"{reverse('trail:list')}?boat={stage.boat.key}": {"reviewer", "certifier", "administrator", "owner"},
    }
    texts = {part: read(part, stage.boat).content.decode() for part in SEES}
    for address, parts in actions.items():
        assert {part for part, text in texts.items() if address in text} == parts, address


def test_a_visit_asked_for_already_is_said(read, stage):
    stage.visit("asked_for")
    text = read("owner", stage.boat).content.decode()
    assert reverse("surveys:ask", args=[stage.boat.key]) not in text
    assert "has been asked for already" in text


def test_before_anything_the_page_says_what_is_next(read, cast):
    boat = Boat.objects.create(**as_columns({"name": "Gannet", "sail_number": "QUA 5"}))
    text = read("administrator", boat).content.decode()
    for sentence in ("No certificate yet", "Not yet measured", "No rig described", "nobody named"):
        assert sentence in text


def test_changes_stay_readable(read, cast, stage):
    boat = stage.boat
    boat_actions.change_particulars(
        by=cast.reviewer, boat=boat, edition=1, reason="renamed by her owner", name="Loud Margin"
    )
    masts = [{"name": "main", "material": "carbon", "mast_identification": "M-900"}]
    boat_actions.describe_rig(
        by=cast.reviewer, boat=boat, since=dt.date(2024, 5, 1), rig_type="sloop", masts=masts, reason="lost overboard"
    )
    office, owner = (read(part, boat).content.decode() for part in ("reviewer", "owner"))
    for text in (office, owner):
        for said in ("Loud Margin", "Quiet Margin", "renamed by her owner", "M-900", "lost overboard", "2024-04-30"):
            assert said in text
    assert cast.reviewer.name in office
    assert cast.reviewer.name not in owner


def test_a_spar_that_is_elsewhere_is_said(read, cast, stage):
    mast = [{"name": "main", "material": "carbon", "mast_identification": "M-900"}]
    other = Boat.objects.create(**as_columns({"name": "Gannet", "sail_number": "QUA 5"}))
    for boat in (stage.boat, other):
        boat_actions.describe_rig(
            by=cast.reviewer, boat=boat, since=dt.date(2024, 5, 1), rig_type="sloop", masts=mast, reason="same mast"
        )
    assert "Gannet (QUA 5)" in read("reviewer", stage.boat).content.decode()
    owner = read("owner", stage.boat).content.decode()
    assert "occurs elsewhere" in owner
    assert "Gannet" not in owner  # an owner learns that it is elsewhere, not whose boat that is


def test_figures_with_their_drawing_and_the_states_of_the_visits(read, stage):
    stage.visit("accepted")
    stage.visit("planned")
    answer = read("owner", stage.boat)
    text = answer.content.decode()
    assert "Rig of Quiet Margin" in text  # the drawing's title
    assert 'data-dimension="luff"' in text
    assert "Accepted" in text
    assert "Planned" in text
    assert len(answer.context["visits"]) == 2


def test_former_figures_are_kept_from_the_measurer_of_an_open_visit(read, cast, stage):
    stage.visit("accepted")
    assert "not shown to the measurer" not in read("measurer", stage.boat).content.decode()
    stage.visit("planned")
    hidden = read("measurer", stage.boat)
    assert "not shown to the measurer" in hidden.content.decode()
    assert hidden.context["measured"] is None
    for part in ("second_measurer", "owner", "reviewer"):
        assert read(part, stage.boat).context["measured"] is not None
    change_policy(by=cast.administrator, reason="our measurers may know", show_previous_to_measurer=True)
    assert read("measurer", stage.boat).context["measured"] is not None


def test_certificates_with_their_papers(read, cast, stage):
    first = issue(by=cast.certifier, visit=stage.visit("accepted"))
    answer = read("owner", stage.boat)
    text = answer.content.decode()
    assert answer.context["now"].certificate == first
    for paper in ("A4", "Letter"):
        assert reverse("certificates:pdf", args=[first.number, paper]) in text
    stage.visit("planned")
    measurer = read("measurer", stage.boat).content.decode()
    assert first.number in measurer
    assert reverse("certificates:pdf", args=[first.number, "A4"]) not in measurer  # her figures stand on it
    withdraw(by=cast.certifier, certificate=first, on=first.valid_from, reason="the mast was changed")
    answer = read("owner", stage.boat)
    assert [one.standing for one in answer.context["held"]] == ["withdrawn"]
    assert "No certificate in force today" in answer.content.decode()


def test_the_page_asks_no_more_for_a_longer_history(read, cast, stage, django_assert_max_num_queries):
    boat = stage.boat
    stage.visit("accepted")
    with django_assert_max_num_queries(60) as few:
        read("reviewer", boat)
    for year in range(2021, 2024):
        held = boat_actions.add_owner(by=cast.reviewer, boat=boat, person=cast.other_owner, since=dt.date(year, 1, 1))
        boat_actions.end_ownership(by=cast.reviewer, ownership=held, until=dt.date(year, 6, 1), reason="sold back")
        boat_actions.change_particulars(
            by=cast.reviewer, boat=boat, edition=boat.edition, reason="moved", harbour=f"Harbour {year}"
        )
        mast = [{"name": "main", "material": "carbon", "spreader_pairs": year - 2020}]
        boat_actions.describe_rig(
            by=cast.reviewer, boat=boat, since=dt.date(year, 2, 1), rig_type="sloop", masts=mast, reason="new mast"
        )
        stage.visit("planned")
    with django_assert_max_num_queries(len(few.captured_queries)):
        read("reviewer", boat)
