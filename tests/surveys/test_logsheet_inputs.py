"""What the computations get from a log sheet, and whose word counts where file and office differ."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import pytest

from computations.inputs import Instrument, Preparation, Rig, Visit
from surveys.logsheet import COLUMNS, Difference, LogSheet, from_inputs, read, to_inputs


def sheet(*lines: str) -> LogSheet:
    return read("\n".join((",".join(COLUMNS), *lines)).encode(), "log.csv", known_instruments={"T-07"})


def inputs_of(*lines: str) -> Visit:
    visit, differences = to_inputs(sheet(*lines))
    assert differences == []
    return visit


def test_an_almost_empty_sheet_is_a_visit_with_almost_nothing():
    visit = inputs_of("visit,boat,,,,Tern,,,")
    assert replace(visit, key="visit") == Visit(boat="Tern")


def test_the_visit_itself():
    visit = inputs_of(
        "visit,boat,,,,Quiet Margin,,,",
        "visit,sail_number,,,,SKE 214,,,",
        "visit,design,,,,Skerrin 32,,,",
        "visit,date,,,,2023-05-16,,,",
        "visit,place,,,,Skerrin Haven,,,",
        "visit,measurer,,,,Ottilie Vane,,,",
        'visit,air_temperature,,,,"57,2",degF,,',
        "visit,interest,,,,crew,,,",
    )
    assert (visit.boat, visit.sail_number, visit.design) == ("Quiet Margin", "SKE 214", "Skerrin 32")
    assert (visit.date, visit.place, visit.measurer) == (dt.date(2023, 5, 16), "Skerrin Haven", "Ottilie Vane")
    assert visit.air_temperature_c == 14.0  # (57.2 - 32) x 5/9
    assert visit.interest == "crew"


@pytest.mark.parametrize(
    ("written", "unit", "millimetres"),
    [
        ("15286", "", 15286.0),
        ("15.286", "m", 15286.0),
        ('"15,286"', "m", 15286.0),
        ("15.286 m", "", 15286.0),
        ("50 ft 1 13/16 in", "", 15286.0375),  # (600 + 1 + 13/16) x 25.4
        ('"50\' 1 13/16"""', "", 15286.0375),
        ("50ft1.8125in", "", 15286.0375),
        ("12 7/8 in", "", 327.025),  # 12.875 x 25.4
        ("12.875", "in", 327.025),
        ("13", "yard", 11887.2),  # 13 x 914.4
    ],
)
def test_readings_in_any_unit(written: str, unit: str, millimetres: float):
    reading = inputs_of(f"reading,P,,,2,{written},{unit},,second").readings[0]
    assert reading.value == millimetres
    assert (reading.slug, reading.mast, reading.take, reading.unit_written) == ("luff_between_bands", "main", 2, unit)
    assert reading.written.replace('"', "") == written.replace('"', "")
    assert reading.remark == "second"


def test_masses_in_any_unit():
    assert inputs_of("reading,scale_reading,,,,100,lb,,").readings[0].value == 45.359237
    assert inputs_of("reading,sling_weight,,,,4200,g,,").readings[0].value == 4.2


def test_the_rig_and_its_masts():
    visit = inputs_of(
        "rig,rig_type,,,,ketch,,,",
        "rig,inner_forestay,,,,yes,,,",
        "rig,mast_material,main,,,carbon,,,",
        "rig,spreader_pairs,,,,3,,,",
        "rig,upper_band,mizzen,,,no,,,",
        "rig,band_contrast,mizzen,,,false,,,",
        "rig,mast_state,mizzen,,,stepped,,,",
        "rig,mast_identification,mizzen,,,SH-M-2,,,",
        "rig,supported_straight,main,,,yes,,,three trestles",
    )
    main, mizzen = visit.rig.masts
    assert (visit.rig.rig_type, visit.rig.inner_forestay, visit.rig.outrigger) == ("ketch", True, False)
    assert (main.name, main.material, main.spreader_pairs, main.upper_band, main.band_contrast) == (
        "main", "carbon", 3, True, None,
    )  # fmt: skip
    assert (mizzen.name, mizzen.upper_band, mizzen.band_contrast, mizzen.state) == ("mizzen", False, False, "stepped")
    assert mizzen.mast_identification == "SH-M-2"
    assert visit.preparation == (Preparation("supported_straight", "yes", "main", "three trestles"),)


@pytest.mark.parametrize(
    ("rig_type", "masts"),
    [
        ("sloop", ["main"]),
        ("cutter", ["main"]),
        ("ketch", ["main", "mizzen"]),
        ("yawl", ["main", "mizzen"]),
        ("schooner", ["main", "fore"]),
    ],
)
def test_the_type_says_which_masts_there_are(rig_type: str, masts: list[str]):
    assert [mast.name for mast in inputs_of(f"rig,rig_type,,,,{rig_type},,,").rig.masts] == masts


def test_what_the_file_has_no_word_for_follows_from_the_readings():
    plain = inputs_of("reading,P,,,,12150,,,").rig
    assert plain == Rig()
    rich = inputs_of(
        "reading,spinnaker_halyard_above_band,,,,12238,,,",
        "reading,TPS,,,,4800,,,",
        "reading,foil_fore_aft,,,,21.4,,,",
        "reading,GO,,,,180,,,",
        "reading,luff_to_sheave,,,,12150,,,",
        "rig,pole_identification,,,,SH-P-1,,,",
    ).rig
    assert (rich.spinnaker, rich.bowsprit, rich.headsail_foil, rich.pole) == (True, True, True, True)
    assert (rich.outrigger, rich.masts[0].upper_band) == (True, False)
    stated = inputs_of("rig,outrigger,,,,no,,,", "rig,upper_band,,,,yes,,,", "reading,luff_to_sheave,,,,12150,,,").rig
    assert (stated.outrigger, stated.masts[0].upper_band) == (False, True)


DECLARED = (
    "instrument,kind,,,,steel_tape,,T-07,",
    "instrument,accuracy_class,,,,II,,T-07,",
    "instrument,nominal_length,,,,30,m,T-07,",
    "instrument,calibration_error,,,,-1/16 in,,T-07,",
    "instrument,calibrated_on,,,,2022-11-05,,T-07,",
    "instrument,due_on,,,,2024-11-05,,T-07,",
    "instrument,reference_temperature,,,,68,degF,T-07,",
)


def test_an_instrument_by_the_file_alone():
    visit = inputs_of(*DECLARED, "reading,P,,,,12150,,T-07,")
    assert visit.instruments == (
        Instrument(
            identifier="T-07",
            kind="steel_tape",
            accuracy_class="II",
            nominal_length_mm=30_000.0,
            calibration="2022-11-05",
            calibration_error=-1.5875,
            calibrated_on=dt.date(2022, 11, 5),
            due_on=dt.date(2024, 11, 5),
            reference_temperature_c=20.0,
        ),
    )


def test_a_scale_errs_in_kilograms_whatever_unit_is_left_out():
    scale = inputs_of(
        "instrument,limit_of_error,,,,0.2,,S-01,", "instrument,kind,,,,scale,,S-01,",
        "instrument,calibration_error,,,,1,lb,S-01,",
    ).instruments[0]  # fmt: skip
    assert (scale.limit_of_error, scale.calibration_error) == (0.2, 0.45359237)


STORED = Instrument(
    identifier="T-07",
    kind="steel_tape",
    accuracy_class="I",
    nominal_length_mm=30_000.0,
    calibration="the record's key",
    calibration_error=0.9,
    calibration_u=0.2,
    calibrated_on=dt.date(2023, 1, 9),
    due_on=dt.date(2025, 1, 9),
)


def test_the_offices_record_wins_and_each_difference_is_reported():
    visit, differences = to_inputs(sheet(*DECLARED, "reading,P,,,,12150,,T-07,"), {"T-07": STORED})
    assert visit.instruments == (STORED,)
    assert differences == [
        Difference("T-07", "accuracy_class", "II", "I"),
        Difference("T-07", "calibrated_on", dt.date(2022, 11, 5), dt.date(2023, 1, 9)),
        Difference("T-07", "calibration_error", -1.5875, 0.9),
        Difference("T-07", "due_on", dt.date(2024, 11, 5), dt.date(2025, 1, 9)),
    ]


def test_what_the_file_does_not_state_is_no_difference():
    _, differences = to_inputs(sheet("instrument,kind,,,,steel_tape,,T-07,"), {"T-07": STORED})
    assert differences == []


def test_a_stored_instrument_that_is_only_named_comes_along():
    visit, differences = to_inputs(sheet("reading,P,,,,12150,,T-07,"), {"T-07": STORED, "T-99": STORED})
    assert visit.instruments == (STORED,)
    assert differences == []


def test_the_key_tells_visits_apart():
    line = "reading,P,,,,12150,,,"
    assert inputs_of(line).key == inputs_of("# the same", line).key
    assert inputs_of(line).key != inputs_of(line.replace("12150", "12151")).key
    assert to_inputs(sheet(line), key="kept")[0].key == "kept"


def test_a_stored_visit_as_a_log_sheet():
    """What was typed on a web form has its written form too; what was not has its number."""
    visit = inputs_of(*DECLARED, "reading,P,,,,39' 10 3/8\",,T-07,", "visit,air_temperature,,,,46,degF,,")
    bare = replace(visit, readings=tuple(replace(one, written="", unit_written="") for one in visit.readings))
    rows = {row.item: (row.value, row.unit) for row in from_inputs(bare).rows}
    assert rows["luff_between_bands"] == ("12150.725", "mm")  # (39 x 12 + 10.375) x 25.4
    assert rows["air_temperature"] == ("7.777777777778", "degC")
    assert rows["calibration_error"] == ("-1.5875", "mm")
    assert rows["interest"] == ("none", "")
    assert "reference_temperature" not in rows
    assert to_inputs(from_inputs(bare))[0].readings[0].value == visit.readings[0].value
