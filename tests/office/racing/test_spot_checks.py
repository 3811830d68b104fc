"""Spot checks: what agrees, differs or cannot be told; who may; readings that only grow; the pages and the report."""

from __future__ import annotations

import datetime as dt
import io
from typing import Any

import pypdf
import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from boats.models import Boat
from office.audit.models import Entry as TrailRow
from office.audit.refusals import NotAllowed, WrongState
from office.certificates import actions as certificate_actions
from office.certificates import paper, pdf, snapshot
from office.certificates.models import Certificate
from office.people import authorisations
from office.policy.actions import change_policy
from office.policy.queries import current
from office.racing import actions, spot_checks, spot_figures
from office.racing.models import Event, SpotCheck
from tests.cast import Cast
from tests.office.racing.test_events import committee, take
from tests.surveys.makers import Stage, record_kit, register_boat

__all__ = ["committee"]
pytestmark = pytest.mark.django_db

LUFF, FOOT, HEIGHT = ("luff", "main"), ("foot", "main"), ("forestay_height", "main")


@pytest.fixture
def certificate(cast: Cast, monkeypatch: pytest.MonkeyPatch) -> Certificate:
    monkeypatch.setattr(pdf, "render_all", lambda document, *_: dict.fromkeys(paper.SIZES, b"%PDF"))
    stage = Stage(cast, register_boat(cast), record_kit(cast))
    return certificate_actions.issue(by=cast.certifier, visit=stage.visit("accepted"))


@pytest.fixture
def boat(certificate: Certificate) -> Boat:
    return certificate.boat


@pytest.fixture
def event(cast: Cast) -> Event:
    today = timezone.localdate()
    made = actions.make_event(
        by=cast.race_committee, name="Week", first_day=today, last_day=today, rules_edition="2025_2028"
    )
    take(cast, made, "sail_number,boat\nSKE 214,Quiet Margin\n")
    return made


def limit(cast: Cast, size: float) -> None:
    if current().change_limits.get("default") == size:
        return
    change_policy(by=cast.administrator, reason="For the checks.", change_limits={"default": size})


@pytest.fixture
def spot(cast: Cast, event: Event, boat: Boat) -> SpotCheck:
    limit(cast, 20.0)
    return spot_checks.begin(
        by=cast.race_committee, event=event, boat=boat, items=[LUFF, FOOT], day=timezone.localdate(),
        air_temperature_c=18.0,
    )  # fmt: skip


def stated(certificate: Certificate, item: tuple[str, str]) -> float:
    return float(spot_figures.stated(snapshot.read(certificate))[item]["value_unrounded"])


def read(cast: Cast, spot: SpotCheck, slug: str, figure: float, instrument: str = "T-03", **more: Any) -> Any:
    return spot_checks.record_reading(
        by=cast.race_committee, spot=spot, slug=slug, mast="main", text=f"{figure:.0f}", instrument=instrument, **more
    )


def answers(spot: SpotCheck) -> dict[str, str]:
    spot.refresh_from_db()
    return {one.slug: one.answer for one in spot_figures.findings(spot)}


@pytest.mark.parametrize(
    ("off", "tolerance", "answer"),
    [(0, 20.0, "agrees"), (12, 20.0, "agrees"), (60, 20.0, "differs"), (-60, 20.0, "differs"),
     (20, 20.0, "cannot_tell"), (0, 0.5, "cannot_tell")],
)  # fmt: skip
def test_the_uncertainty_decides(
    cast: Cast, spot: SpotCheck, certificate: Certificate, off: int, tolerance: float, answer: str
) -> None:
    limit(cast, tolerance)
    read(cast, spot, "luff_between_bands", stated(certificate, LUFF) + off)
    luff, foot = spot_figures.findings(spot)
    assert (luff.answer, foot.answer) == (answer, "not_read")
    assert "within the tolerance of" in luff.rule
    assert "JCGM 106" in luff.rule
    assert bool(luff.would_tell) == (answer == "cannot_tell")
    assert foot.missing


def test_what_both_share_is_left_out(cast: Cast, spot: SpotCheck, certificate: Certificate) -> None:
    """The same tape under the same calibration, against an inspector's own of the same class."""
    read(cast, spot, "luff_between_bands", stated(certificate, LUFF))
    same = spot_figures.findings(spot)[0]
    other = spot_checks.begin(
        by=cast.race_committee, event=spot.event, boat=spot.boat, items=[LUFF], day=spot.day, air_temperature_c=18.0
    )
    spot_checks.describe_instrument(
        by=cast.race_committee, spot=other, identifier="MINE", kind="steel_tape", accuracy_class="I",
        nominal_length_mm=30000.0,
    )  # fmt: skip
    read(cast, other, "luff_between_bands", stated(certificate, LUFF), "MINE")
    own = spot_figures.findings(other)[0]
    assert float(same.difference_expanded) < float(own.difference_expanded)


def test_heights_ask_for_the_booms_height_too(cast: Cast, event: Event, boat: Boat, certificate: Certificate) -> None:
    spot = spot_checks.begin(by=cast.race_committee, event=event, boat=boat, items=[HEIGHT], day=timezone.localdate())
    rig = snapshot.rig_of(snapshot.read(certificate))
    slugs = {kind.slug for kind, _, _ in spot_figures.readings_of([HEIGHT], rig)}
    assert {"forestay_above_band", "string_to_sheer", "string_to_band", "band_to_sheer"} <= slugs
    assert answers(spot) == {"forestay_height": "not_read"}
    read(cast, spot, "forestay_above_band", 12000)
    assert answers(spot) == {"forestay_height": "not_read"}


def test_readings_only_grow(cast: Cast, spot: SpotCheck) -> None:
    first = read(cast, spot, "luff_between_bands", 15000)
    assert read(cast, spot, "luff_between_bands", 15001).take == 2
    with pytest.raises(spot_checks.TakeThere):
        read(cast, spot, "luff_between_bands", 15002, take=1)
    amended = spot_checks.replace_reading(by=cast.race_committee, reading=first, text="15003", reason="misread")
    with pytest.raises(WrongState, match="amended since"):
        spot_checks.replace_reading(by=cast.race_committee, reading=first, text="15004")
    spot_checks.replace_reading(by=cast.race_committee, reading=amended, text=None)
    assert [one.written for one in spot_figures.standing_readings(spot)] == ["15001"]
    assert spot.readings.count() == 4


@pytest.mark.parametrize(
    ("more", "sentence"),
    [
        ({"text": "twelve"}, "expected a"), ({"text": "15000", "instrument": "X-9"}, "office's kit"),
        ({"text": "15000", "mast": "mizzen"}, "expected a mast"), ({"text": "1", "slug": "nothing"}, "catalogue"),
    ],
)  # fmt: skip
def test_what_cannot_be_read(cast: Cast, spot: SpotCheck, more: dict[str, Any], sentence: str) -> None:
    given = {"slug": "luff_between_bands", "mast": "main", **more}
    with pytest.raises(Exception, match=sentence):
        spot_checks.record_reading(by=cast.race_committee, spot=spot, **given)
    assert not spot.readings.exists()


def test_who_may_and_against_what(cast: Cast, event: Event, boat: Boat) -> None:
    today = timezone.localdate()
    about: dict[str, Any] = {"event": event, "boat": boat, "items": [LUFF], "day": today}
    for person in (cast.owner, cast.measurer, cast.stranger):
        with pytest.raises(NotAllowed):
            spot_checks.begin(by=person, **about)
    others: tuple[dict[str, Any], ...] = (
        {"items": []}, {"items": [("hoist_ratio", "main")]}, {"items": [("nothing", "main")]}
    )  # fmt: skip
    for other in others:
        with pytest.raises(WrongState, match="Choose"):
            spot_checks.begin(by=cast.reviewer, **{**about, **other})
    with pytest.raises(WrongState, match="no certificate in force"):
        spot_checks.begin(by=cast.reviewer, **{**about, "day": dt.date(2020, 1, 1)})
    with pytest.raises(WrongState, match="today or"):
        spot_checks.begin(by=cast.reviewer, **{**about, "day": today + dt.timedelta(days=1)})
    made = spot_checks.begin(by=cast.reviewer, **about)
    with pytest.raises(NotAllowed):
        spot_checks.record_reading(by=cast.owner, spot=made, slug="luff_between_bands", mast="main", text="15000")


def test_finished_it_stands(cast: Cast, spot: SpotCheck, certificate: Certificate) -> None:
    with pytest.raises(WrongState, match="Nothing has been read"):
        spot_checks.finish(by=cast.race_committee, spot=spot)
    read(cast, spot, "luff_between_bands", stated(certificate, LUFF) + 60)
    done = spot_checks.finish(by=cast.race_committee, spot=spot, remark="In the rain.")
    limit(cast, 500.0)
    assert answers(done) == {"luff": "differs", "foot": "not_read"}
    with pytest.raises(WrongState, match="finished"):
        read(cast, spot, "luff_between_bands", 15000)
    with pytest.raises(WrongState, match="finished"):
        spot_checks.finish(by=cast.race_committee, spot=spot)
    told = TrailRow.objects.get(verb="finish_spot_check")
    assert (told.boat, told.certificate) == (spot.boat.key, certificate.number)
    assert '"P":"differs"' in told.after


def test_who_was_not_authorised_is_told_where_the_policy_asks(cast: Cast, committee: Client, spot: SpotCheck) -> None:
    spot_checks.record_reading(by=cast.reviewer, spot=spot, slug="luff_between_bands", mast="main", text="15000")
    page = reverse("events:spot_check", args=[spot.event.key, spot.key])
    said = "had no authorisation for “Spot checks at events”"
    assert said not in committee.get(page).content.decode()
    change_policy(by=cast.administrator, reason="So it is.", on_unauthorised="warn")
    text = committee.get(page).content.decode()
    assert f"Runa Falk {said}" in text
    assert f"Ines Holm {said}" in text
    authorisations.grant(
        by=cast.administrator, person=cast.race_committee, methods=["spot_check"], since=spot.day, until=None,
        grounds="training", evidence="An evening.",
    )  # fmt: skip
    text = committee.get(page).content.decode()
    assert "Runa Falk had no" not in text
    assert f"Ines Holm {said}" in text


def test_the_pages(cast: Cast, committee: Client, event: Event, boat: Boat, certificate: Certificate) -> None:
    limit(cast, 20.0)
    entry = committee.get(reverse("events:entry", args=[event.key, 2])).content.decode()
    begin = reverse("events:begin_spot_check", args=[event.key, 2])
    assert begin in entry
    assert "Luff P:" in committee.get(begin).content.decode()
    assert committee.post(begin, {"day": "2020-01-01"}).status_code == 422
    made = committee.post(begin, {"items": ["luff main", "foot main"], "day": timezone.localdate().isoformat()})
    spot = SpotCheck.objects.get()
    address = reverse("events:spot_check", args=[event.key, spot.key])
    assert made.headers["Location"] == address
    figure = f"{stated(certificate, LUFF):.0f}"
    sent = {
        "luff_between_bands-main-one-value": figure, "luff_between_bands-main-one-instrument": "T-03",
        "foot_distance-main-one-value": "five",
    }  # fmt: skip
    bad = committee.post(address, sent)
    assert bad.status_code == 422
    text = bad.content.decode()
    assert 'value="five"' in text
    assert "1 reading stored." in text
    assert "Agrees" in text
    mine = {"identifier": "MINE", "kind": "steel_tape", "accuracy_class": "II"}
    committee.post(reverse("events:spot_instrument", args=[event.key, spot.key]), mine)
    assert "MINE, steel tape, the inspector" in committee.get(address).content.decode()
    again = committee.post(reverse("events:spot_instrument", args=[event.key, spot.key]), mine)
    assert "described already" in again.content.decode()
    answer = committee.get(reverse("events:spot_report", args=[event.key, spot.key]), {"size": "Letter"})
    printed = pypdf.PdfReader(io.BytesIO(answer.content)).pages[0].extract_text()
    assert "Not finished" in printed
    assert "Person in charge of the boat" in printed
    committee.post(reverse("events:spot_finish", args=[event.key, spot.key]), {"remark": "Dry."})
    page = committee.get(address).content.decode()
    assert "Store what is typed" not in page
    assert "Finished" in committee.get(reverse("events:spot_checks", args=[event.key])).content.decode()
    token = spot.readings.get().token
    assert committee.post(reverse("events:spot_away", args=[event.key, spot.key, token])).status_code == 409
