"""From visits to observations: what counts, under which names, and with which uncertainties."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import numpy as np
import pytest

from computations.derivation import derive
from computations.fleet.findings import ONLY_DIFFERENCES, RELATIVE_BIASES, _tape, findings_of
from computations.fleet.gathering import PLACED_ANEW, Gathering, TapeKey
from computations.fleet.solving import TapeError, solve
from computations.inputs import Assumptions, Instrument, Visit
from tests.computations.visits import TAPE, full_visit, ketch

CERTIFIED = replace(TAPE, identifier="T-01", calibration="C-9", calibration_error=-3.0, calibration_u=0.3)
DAYS = (dt.date(2024, 5, 4), dt.date(2025, 5, 4), dt.date(2026, 5, 4))


def visit_of(number: int, tape: Instrument = TAPE, **fields) -> Visit:
    visit = full_visit(key=f"visit-{number}")
    return replace(
        visit,
        date=DAYS[number % 3],
        instruments=tuple(tape if one.identifier == "T-07" else one for one in visit.instruments),
        readings=tuple(
            replace(one, instrument=tape.identifier) if one.instrument == "T-07" else one for one in visit.readings
        ),
        **fields,
    )


def gathered(*visits: tuple[str, str, Visit]):
    gathering = Gathering(Assumptions())
    for boat, measurer, visit in visits:
        gathering.add(boat, measurer, visit)
    return gathering.finish()


def test_only_lengths_read_twice_by_a_tape_and_not_marked_anew():
    fleet = gathered(("one", "m", visit_of(0)), ("one", "m", visit_of(1)), ("two", "m", visit_of(2)))
    read = {fleet.quantities[number].reading for number in fleet.observations.quantity}
    assert "luff_between_bands" in read
    assert "band_to_sheer" in read
    assert not read & PLACED_ANEW
    assert not read & {"section_fore_aft_lower", "scale_reading", "lower_band_width"}
    assert {fleet.quantities[number].boat for number in fleet.observations.quantity} == {"one"}


def test_the_record_s_correction_is_not_applied_but_the_temperature_s_is():
    plain, certified = visit_of(0), visit_of(0, CERTIFIED)
    values = {}
    for name, visit in (("plain", plain), ("certified", certified)):
        fleet = gathered(("one", "m", visit), ("one", "m", replace(visit, key="again", date=DAYS[1])))
        row = [fleet.quantities[number].reading for number in fleet.observations.quantity].index("luff_between_bands")
        values[name] = fleet.observations.value_mm[row]
    assert values["plain"] == pytest.approx(values["certified"], abs=1e-12)
    assert values["plain"] == pytest.approx(15286.0 * (1 + 11.5e-6 * (8.0 - 20.0)), abs=1e-9)


def test_a_certificate_is_a_datum_with_the_sign_of_reading_long():
    """True minus indicated -3 mm in 30 m: the tape indicates 0.1 mm/m more than there is."""
    fleet = gathered(("one", "m", visit_of(0, CERTIFIED)), ("one", "m", visit_of(1)))
    assert [(one.tape, one.mm_per_m, one.u) for one in fleet.data] == [(0, pytest.approx(0.1), pytest.approx(0.01))]
    assert fleet.tapes[1].certificate_u is None


def test_a_tape_calibrated_anew_is_another_tape():
    later = replace(TAPE, calibration="C-2027-001", calibrated_on=dt.date(2025, 1, 1))
    fleet = gathered(("one", "m", visit_of(0)), ("one", "m", visit_of(1, later)))
    assert [(one.identifier, one.calibration) for one in fleet.tapes] == [
        ("T-07", "C-2026-014"),
        ("T-07", "C-2027-001"),
    ]


def test_a_new_spar_is_a_new_length():
    new = visit_of(1)
    masts = tuple(replace(mast, mast_identification="M-2") for mast in new.rig.masts)
    new = replace(new, rig=replace(new.rig, masts=masts))
    fleet = gathered(("one", "m", visit_of(0)), ("one", "m", new))
    read = {fleet.quantities[number].reading for number in fleet.observations.quantity}
    assert "luff_between_bands" not in read
    assert "foot_distance" in read  # the boom is the same


def test_takes_of_two_tapes_are_left_out():
    visit = visit_of(0)
    luff = next(one for one in visit.readings if one.slug == "luff_between_bands")
    mixed = replace(
        visit,
        instruments=(*visit.instruments, CERTIFIED),
        readings=(*visit.readings, replace(luff, take=2, instrument="T-01")),
    )
    fleet = gathered(("one", "m", mixed), ("one", "m", visit_of(1)))
    assert "luff_between_bands" not in {fleet.quantities[number].reading for number in fleet.observations.quantity}


def test_uncertainties_are_those_of_the_derivation_without_the_tape_s_scale():
    visit = visit_of(0)
    fleet = gathered(("one", "m", visit), ("one", "m", replace(visit, key="again", date=DAYS[1])))
    observations, details = fleet.observations, derive(visit).details
    variance = observations.independent_u_mm**2
    np.add.at(variance, observations.shared_row, observations.shared_mm**2)
    scale = [j for j, key in enumerate(details.sources) if key.kind != "tape_scale"]
    for row in np.flatnonzero(observations.visit == 0):
        one = fleet.quantities[observations.quantity[row]]
        effects = details.effects[details.keys.index((one.reading, one.mast, one.position)), scale]
        if one.reading != "band_to_sheer":  # its slope is not known without the second mark
            assert variance[row] == pytest.approx(effects @ effects, rel=1e-9)


def test_a_visit_without_a_date_or_a_tape_is_passed_over():
    fleet = gathered(("one", "m", replace(visit_of(0), date=None)), ("one", "m", replace(visit_of(1), instruments=())))
    assert len(fleet.observations) == 0
    solution = solve(fleet.observations, fleet.sizes, fleet.data)
    assert findings_of(fleet, solution).tapes == ()


def test_two_masts_are_kept_apart():
    first = replace(ketch(), key="a", date=DAYS[0])
    fleet = gathered(("one", "m", first), ("one", "m", replace(first, key="b", date=DAYS[1])))
    lengths = {(one.reading, one.mast) for one in fleet.quantities}
    assert {("luff_between_bands", "main"), ("luff_between_bands", "mizzen")} <= lengths


def longer(visit: Visit, mm_per_m: float) -> Visit:
    return replace(
        visit,
        readings=tuple(
            replace(one, value=one.value * (1 + mm_per_m / 1000)) if one.instrument.startswith("T-") else one
            for one in visit.readings
        ),
    )


def test_sentences_with_a_certificate_in_the_house():
    """T-01 is certified to read 0.1 mm/m long; T-07, used on the same boats, reads 0.3 mm/m longer than it."""
    visits = []
    for boat in range(6):
        for number, (tape, error) in enumerate(((CERTIFIED, 0.1), (TAPE, 0.4), (CERTIFIED, 0.1))):
            visit = replace(longer(visit_of(number, tape), error), key=f"{boat}-{number}")
            visits.append((f"boat {boat}", "m", visit))
    fleet = gathered(*visits)
    found = findings_of(fleet, solve(fleet.observations, fleet.sizes, fleet.data))
    certified, plain = found.tapes
    assert certified.sentence.startswith("T-01 reads 0.1")
    assert "mm/m long since 2026-01." in certified.sentence
    assert not certified.beyond_record
    assert plain.tied
    assert plain.mm_per_m == pytest.approx(0.4, abs=plain.expanded)
    assert plain.beyond_record
    assert plain.sentence.endswith("have it calibrated anew.")
    assert ONLY_DIFFERENCES not in found.statements
    assert RELATIVE_BIASES in found.statements


@pytest.mark.parametrize(
    ("deviations", "suggested"), [(0.0, False), (2.5, False), (-2.5, False), (3.5, True), (-3.5, True)]
)
def test_a_new_calibration_is_suggested_beyond_three_standard_deviations(deviations, suggested):
    """The certificate knows the tape to 0.010, the fleet with it to 0.006 mm/m: their difference to 0.008."""
    tape = TapeKey("T-01", "C-1", dt.date(2026, 1, 5), 0.1, 0.010)
    one = TapeError(tape=0, mm_per_m=0.1 + 0.008 * deviations, u=0.006, readings=90, tied_to_datum=True)
    assert _tape(tape, one).beyond_record is suggested


def test_sentences_without_any_certificate():
    other = replace(TAPE, identifier="T-08", calibration="C-8")
    visits = [
        (f"boat {boat}", "m", replace(longer(visit_of(number, tape), error), key=f"{boat}-{number}"))
        for boat in range(6)
        for number, (tape, error) in enumerate(((other, 0.0), (TAPE, 0.4)))
    ]
    fleet = gathered(*visits)
    found = findings_of(fleet, solve(fleet.observations, fleet.sizes, fleet.data))
    assert ONLY_DIFFERENCES in found.statements
    assert not any(one.tied or one.beyond_record for one in found.tapes)
    assert "longer than the mean of the tapes it can be compared with" in found.tapes[0].sentence
    assert found.tapes[0].mm_per_m == pytest.approx(0.2, abs=0.02)
    assert "shorter" in found.tapes[1].sentence
