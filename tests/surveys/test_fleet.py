"""The fleet from stored visits: as its derivations say, in few queries; the page, the command, the suggestion."""

from __future__ import annotations

import io
import json

import pytest
from django.core.management import call_command
from django.urls import reverse

from computations.fleet.gathering import Gathering
from computations.inputs import Assumptions
from office.audit.models import Entry
from office.audit.refusals import NotAllowed, WrongState
from surveys import actions
from surveys.fleet import gather, solved_fleet
from surveys.inputs import visit_inputs
from surveys.models import Calibration, Reading, Visit
from surveys.values import Unreadable
from tests.surveys.makers import Stage, register_boat

pytestmark = pytest.mark.django_db


@pytest.fixture
def twice(stage: Stage) -> Stage:
    """One boat, accepted twice: by another tape the second time, which reads 0.4 mm/m longer."""
    first = stage.visit("accepted")
    kit = actions.record_instrument(
        by=stage.cast.administrator, identifier="T-04", kind="steel_tape", accuracy_class="I", nominal_length_mm=30000.0
    )
    second = Visit.objects.create(
        boat=stage.boat, rig=first.rig, state="accepted", measurer=stage.cast.second_measurer, date=first.date,
        air_temperature_c=first.air_temperature_c, signed_at=first.signed_at, accepted_at=first.accepted_at,
    )  # fmt: skip
    for row in first.readings.all():
        tape = row.instrument == stage.kit["T-03"]
        Reading.objects.create(
            visit=second, slug=row.slug, mast=row.mast, position=row.position, take=row.take, written=row.written,
            value=(row.value or 0.0) * (1.0004 if tape else 1.0), instrument=kit if tape else row.instrument,
            recorded_by=stage.cast.second_measurer,
        )  # fmt: skip
    return stage


def test_gathered_as_the_stored_visits_would_be_one_by_one(twice):
    """Through the quick way from rows and the long way through each visit's own inputs."""
    quick = gather()
    gathering = Gathering(Assumptions())
    for visit in Visit.objects.filter(state="accepted").order_by("pk"):
        gathering.add(visit.boat.key, visit.measurer.key, visit_inputs(visit))
    slow = gathering.finish()
    assert quick.tapes == slow.tapes
    assert (quick.measurers, quick.visits, quick.data) == (slow.measurers, slow.visits, slow.data)

    def named(fleet):
        rows = zip(fleet.observations.quantity, fleet.observations.visit, fleet.observations.value_mm, strict=True)
        return sorted((fleet.quantities[quantity], int(visit), value) for quantity, visit, value in rows)

    assert named(quick) == named(slow)
    assert len(quick.observations) > 10


def test_the_number_of_queries_does_not_grow(twice, django_assert_num_queries):
    with django_assert_num_queries(7):
        gather()
    again = Stage(twice.cast, register_boat(twice.cast, "Grey Plover", "SKE 9"), twice.kit)
    again.visit("accepted")
    with django_assert_num_queries(7):
        gather()


def test_visits_that_are_not_accepted_do_not_count(stage):
    stage.visit("signed")
    assert len(gather().observations) == 0


def test_amended_and_withdrawn_readings_count_as_they_stand(twice):
    before = len(gather().observations)
    row = Reading.objects.filter(visit__measurer=twice.cast.second_measurer, slug="foretriangle_base").first()
    Reading.objects.create(
        visit=row.visit, slug=row.slug, mast=row.mast, position=row.position, take=row.take, value=None, written="",
        recorded_by=row.recorded_by, replaces=row, reason="misread", withdrawn=True,
    )  # fmt: skip
    assert len(gather().observations) == before - 2  # the other visit's stands alone now


def test_worked_out_anew_only_when_something_came(twice):
    first = solved_fleet()
    assert solved_fleet() is first
    Calibration.objects.create(instrument=twice.kit["T-03"], calibrated_on="2022-12-01", due_on="2030-01-01", error=0.0)
    assert solved_fleet() is not first


def test_the_page_says_what_is_known_and_what_is_not(client, twice):
    client.force_login(twice.cast.reviewer)
    text = client.get(reverse("desk:fleet")).content.decode()
    for words in (
        "T-03",
        "T-04",
        "Only differences between these tapes can be known",
        "relative to the mean of the office",
    ):
        assert words in text, words
    assert "<svg" in text
    assert (
        client.get(
            reverse("desk:fleet"), {"tape": "T-04", "measurer": twice.cast.second_measurer.key, "page": "x"}
        ).status_code
        == 200
    )
    assert client.get(reverse("desk:fleet"), {"tape": "<b>", "measurer": "nobody"}).status_code == 200
    assert reverse("desk:fleet") in client.get(reverse("instruments:list")).content.decode()


def test_before_any_length_was_read_twice(client, cast):
    client.force_login(cast.administrator)
    assert "Nothing to compare yet" in client.get(reverse("desk:fleet")).content.decode()


def test_a_measurer_is_refused_and_offered_nothing(client, twice):
    client.force_login(twice.cast.measurer)
    assert client.get(reverse("desk:fleet")).status_code == 403
    assert reverse("desk:fleet") not in client.get(reverse("instruments:list")).content.decode()


def test_a_suggestion_is_a_row_of_the_trail_and_corrects_nothing(client, twice):
    address = reverse("desk:suggest_recalibration", args=["T-04"])
    client.force_login(twice.cast.certifier)
    before = Calibration.objects.count()
    assert client.post(address, {"reason": " "}).status_code == 422
    assert client.post(address, {"reason": "It reads long against T-03."}).status_code == 302
    row = Entry.objects.get(verb="suggest_recalibration")
    assert (row.subject, row.reason) == ("T-04", "It reads long against T-03.")
    assert "mm/m" in json.loads(row.after)["finding"]
    assert Calibration.objects.count() == before
    assert "suggested on" in client.get(reverse("desk:fleet")).content.decode()


def test_who_may_suggest_and_of_what(twice):
    tape, cast = twice.kit["T-03"], twice.cast
    given = {"instrument": tape, "finding": "T-03 reads long."}
    for person in (cast.measurer, cast.owner, cast.stranger):
        with pytest.raises(NotAllowed):
            actions.suggest_recalibration(by=person, reason="x", **given)
    with pytest.raises(Unreadable):
        actions.suggest_recalibration(by=cast.reviewer, reason="", **given)
    actions.suggest_recalibration(by=cast.reviewer, reason="x", **given)
    actions.suggest_recalibration(by=cast.reviewer, reason="once more", **given)
    assert Entry.objects.filter(verb="suggest_recalibration").count() == 2
    actions.take_out_of_use(
        by=cast.administrator, instrument=tape, since=tape.calibrations.first().calibrated_on, reason="Kinked."
    )
    with pytest.raises(WrongState):
        actions.suggest_recalibration(by=cast.reviewer, reason="x", **given)


def fleet_command(*arguments: str) -> str:
    out = io.StringIO()
    call_command("fleet", *arguments, stdout=out, stderr=io.StringIO())
    return out.getvalue()


def test_the_command_as_table_and_json(twice):
    document = json.loads(fleet_command("--format", "json"))
    assert document["visits"] == 2
    by_tape = {row["instrument"]: row for row in document["tapes"]}
    difference = by_tape["T-04"]["error_mm_per_m"] - by_tape["T-03"]["error_mm_per_m"]
    assert abs(difference - 0.4) < by_tape["T-04"]["expanded_uncertainty"] + by_tape["T-03"]["expanded_uncertainty"]
    assert not any(row["tied_to_certificate"] for row in document["tapes"])
    assert {row["measurer"] for row in document["biases"]} == {twice.cast.measurer.key, twice.cast.second_measurer.key}
    table = fleet_command()
    assert "Teo Varga" in table
    assert "Only differences between these tapes can be known: none of them has a certificate." in table


def test_the_command_in_an_empty_office():
    assert "nothing can be said" in fleet_command()
    assert json.loads(fleet_command("--format", "json"))["tapes"] == []
