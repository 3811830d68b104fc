"""The snapshot: canonical, without floats, complete, and frozen whatever happens afterwards."""

from __future__ import annotations

import json
import unicodedata
from decimal import Decimal
from typing import Any

import pytest
import rfc8785
from django.utils import timezone

from boats import actions as boat_actions
from boats.models import Boat
from computations import rounding
from computations.results import DimensionResult
from office.certificates import actions, pdf, snapshot
from office.certificates.models import Certificate
from office.certificates.standing import standing
from office.policy import actions as policy_actions
from surveys.figures import derive_visit
from surveys.models import Instrument
from tests.office.certificates import samples

pytestmark = pytest.mark.usefixtures("quick_papers")


def walk(value: Any):
    yield value
    if isinstance(value, dict):
        for one in value.values():
            yield from walk(one)
    elif isinstance(value, list):
        for one in value:
            yield from walk(one)


def test_canonical_and_without_floats(issued):
    document = json.loads(issued.snapshot)
    assert rfc8785.dumps(document).decode() == issued.snapshot
    assert not [one for one in walk(document) if isinstance(one, float)]
    assert all(unicodedata.is_normalized("NFC", one) for one in walk(document) if isinstance(one, str))


def test_it_states_everything_the_trade_asks(cast, issued, accepted):
    c = snapshot.read(issued)
    boat, visit = accepted.boat, accepted
    assert c["format"] == "rig-certificate-1"
    assert c["number"] == issued.number
    assert (c["boat"]["name"], c["boat"]["sail_number"], c["boat"]["key"]) == (boat.name, boat.sail_number, boat.key)
    assert {"hin", "design", "builder", "year"} <= c["boat"].keys()
    assert c["rig"]["description"]["rig_type"] == "sloop"
    assert c["rig"]["words"].startswith("Sloop")
    people = c["people"]
    assert (people["measurer"]["key"], people["measurer"]["name"]) == (cast.measurer.key, cast.measurer.name)
    assert people["reviewer"]["key"] == cast.reviewer.key
    assert people["certifier"]["key"] == cast.certifier.key
    assert c["visit"]["date"] == visit.date.isoformat()
    assert c["visit"]["place"] == visit.place
    assert c["visit"]["air_temperature_c"]
    assert c["visit"]["sign_off"]["content_sha256"] == visit.sign_offs.get(meaning="measured").content_sha256
    assert {one["identifier"] for one in c["instruments"]} == {"T-03", "R-01", "C-02", "S-01"}
    assert all(one["calibration"]["due_on"] == "2030-11-05" for one in c["instruments"])
    assert c["validity"]["from"] == issued.valid_from.isoformat()
    assert c["validity"]["until"] == issued.valid_until.isoformat()
    assert c["replaces"] is None
    assert c["trail"]["head"] == issued.trail_head
    assert c["check_at"] == f"http://127.0.0.1:8000/check/c/{issued.number}/"
    assert any("k = 2" in sentence for sentence in c["statements"])
    assert any("copied only as a whole" in sentence for sentence in c["statements"])


def decimals_of(text: str) -> int:
    return len(text.partition(".")[2])


def test_each_figure_is_rounded_with_its_uncertainty_and_kept_unrounded(issued, accepted):
    """JCGM 100:2008, 7.2.6, from memory: two digits of U at most, the estimate to the same decimal."""
    rows = {(row["slug"], row["mast"]): row for row in snapshot.read(issued)["dimensions"]}
    derived = [one for one in derive_visit(accepted).derivation.dimensions if one.method in ("", "adopted")]
    assert len(rows) == sum(one.value is not None for one in derived) > 20
    for result in derived:
        if result.value is None:
            continue
        row = rows[result.slug, result.mast]
        assert Decimal(row["value_unrounded"]) == rounding.to_decimals(result.value, 6)
        decimals = decimals_of(row["value"])
        assert Decimal(row["value"]) == rounding.to_decimals(result.value, decimals)
        if result.expanded_uncertainty:
            assert decimals_of(row["expanded_uncertainty"]) == decimals
            assert 0 < Decimal(row["expanded_uncertainty"]) < 100
            assert len(Decimal(row["expanded_uncertainty"]).as_tuple().digits) <= 2
        assert row["name"]
        assert row["unit"] == result.unit


@pytest.mark.parametrize(
    ("value", "standard", "unit", "printed", "expanded"),
    [
        (15286.44, 1.9, "mm", "15286.4", "3.8"),
        (15286.44, 6.1, "mm", "15286", "12"),
        (5871.5, 48.0, "mm", "5872", "96"),
        (193.4249, 0.0577, "mm", "193.42", "0.12"),
        (193.4249, 0.0012, "mm", "193.4249", "0.0024"),  # U would read as zero at a hundredth of a millimetre
        (29.156202, 0.00842, "m2", "29.156", "0.017"),
        (-0.04, 0.9, "mm", "0.0", "1.8"),  # never minus zero
        (1234.5, 0.0, "mm", "1234", "0"),  # no uncertainty: the catalogue's own decimals, a tie to the even digit
    ],
)
def test_how_a_figure_is_written(value, standard, unit, printed, expanded):
    slug = "mainsail_triangle_area" if unit == "m2" else "luff"
    row = snapshot.dimension(
        DimensionResult(name="x", slug=slug, mast="main", unit=unit, value=value, standard_uncertainty=standard)
    )
    assert (row["value"], row["expanded_uncertainty"]) == (printed, expanded)


def test_names_are_brought_to_one_form(cast, stage):
    decomposed = unicodedata.normalize("NFD", "Blåhäger é")
    Boat.objects.filter(pk=stage.boat.pk).update(name=decomposed)
    stage.boat.refresh_from_db()
    made = actions.issue(by=cast.certifier, visit=stage.visit("accepted"))
    assert snapshot.read(made)["boat"]["name"] == "Blåhäger é" != decomposed


def test_a_float_that_slips_in_is_an_error_not_a_rounding():
    with pytest.raises(TypeError, match="texts and whole numbers"):
        snapshot.normal({"a": [1, {"b": 0.1}]})


def test_what_is_read_back_is_what_was_stated():
    document = samples.document("main", "mizzen", without=("tack_reach",))
    assert snapshot.description_of(snapshot.rig_of(document)) == document["rig"]["description"]
    results = {(one.slug, one.mast): one for one in snapshot.results_of(document)}
    assert results["luff", "main"].value == pytest.approx(13246.38, abs=1e-6)
    assert results["luff", "main"].expanded_uncertainty == pytest.approx(3.82, abs=1e-6)
    assert results["tack_reach", "main"].value is None


def test_a_description_of_another_day_is_read_all_the_same():
    document = samples.document()
    document["rig"]["description"]["forgotten"] = True
    document["rig"]["description"]["masts"][0]["also_forgotten"] = 3
    del document["rig"]["description"]["masts"][0]["runner_pairs"]
    assert snapshot.rig_of(document).mast("main").runner_pairs is None


def test_frozen_though_boat_people_instruments_and_policy_change(cast, stage, issued):
    """An amendment chain: the superseded certificate shows its successor, and the original still says what it said."""
    before = (issued.snapshot, [bytes(one.pdf) for one in issued.documents.all()])
    boat = issued.boat
    boat_actions.change_particulars(
        by=cast.administrator, boat=boat, edition=boat.edition, reason="Renamed.", name="Another Name"
    )
    boat_actions.describe_rig(
        by=cast.administrator, boat=boat, since=timezone.localdate(), reason="New mast.", rig_type="cutter",
        masts=[{"name": "main", "material": "carbon", "mast_identification": "N-1"}],
    )  # fmt: skip
    type(cast.measurer).objects.filter(pk=cast.measurer.pk).update(name="Married Name")
    Instrument.objects.filter(identifier="T-03").update(maker="Somebody else")
    policy_actions.change_policy(by=cast.administrator, reason="Moved.", office_name="Another Office")
    again = actions.issue(by=cast.certifier, visit=issued.visit, replacing=issued.number, reason="Renamed.")
    original = Certificate.objects.get(pk=issued.pk)
    assert (original.snapshot, [bytes(one.pdf) for one in original.documents.all()]) == before
    assert snapshot.sha256(original.snapshot) == original.snapshot_sha256
    assert original.successor == again
    assert standing(original, timezone.localdate()) == "replaced"
    new = snapshot.read(again)
    assert new["boat"]["name"] == "Another Name"
    assert new["people"]["measurer"]["name"] == "Married Name"
    assert new["rig"]["description"]["rig_type"] == "sloop"  # the rig that was measured
    assert new["office"]["name"] == "Another Office"


def test_the_paper_of_a_real_visit_is_made_from_its_snapshot_alone(issued, django_assert_num_queries):
    document = snapshot.read(issued)
    with django_assert_num_queries(0):
        content = pdf.render(document, "A4")
    assert content.startswith(b"%PDF-")
