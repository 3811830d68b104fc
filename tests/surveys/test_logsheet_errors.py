"""Whatever is wrong with a log sheet is said at once, with file, row, column, text found and what was expected."""

from __future__ import annotations

import datetime as dt

import pytest

from computations.catalogue import READINGS
from surveys.logsheet import COLUMNS, LogSheet, LogSheetError, LogSheetErrors, Row, read
from surveys.logsheet.errors import MOST_ERRORS
from surveys.logsheet.fields import MOST_TAKES

TODAY = dt.date(2024, 6, 1)
HEADER = ",".join(COLUMNS)
TAPE = "instrument,kind,,,,steel_tape,,T-03,"
SCHOONER = "rig,rig_type,,,,schooner,,,"


def sheet(*lines: str, header: str = HEADER) -> bytes:
    """A file of a header (row 1) and the given lines (from row 2 on)."""
    return "\n".join((header, *lines)).encode()


def errors(data: bytes, name: str = "log.csv", **more) -> list[LogSheetError]:
    with pytest.raises(LogSheetErrors) as caught:
        read(data, name, today=TODAY, **more)
    assert all(error.file == name and error.found and error.expected for error in caught.value.errors)
    return caught.value.errors


def accepted(*lines: str, **more) -> LogSheet:
    return read(sheet(*lines), "log.csv", today=TODAY, **more)


def said(row: Row | None) -> str:
    assert row is not None
    return row.value


def only(data: bytes, **more) -> LogSheetError:
    found = errors(data, **more)
    assert len(found) == 1, [str(error) for error in found]
    return found[0]


# Each: the line, the column at fault, a piece of what is found, a piece of what is expected.
ONE_FAULT = [
    # records and items
    ("viist,boat,,,,Quiet Margin,,,", "record", "viist", "nearest is visit"),
    (",boat,,,,Quiet Margin,,,", "record", "nothing", "visit, rig, instrument or reading"),
    ("visit,boot,,,,Quiet Margin,,,", "item", "boot", "nearest is boat"),
    ("rig,mast_colour,,,,white,,,", "item", "mast_colour", "mast_material"),
    ("instrument,colour,,,,white,,T-03,", "item", "colour", "kind"),
    ("reading,luff_betwen_bands,,,,12150,,,", "item", "luff_betwen_bands", "nearest is luff_between_bands"),
    ("reading,IG,,,,12150,,,", "item", "IG", "a reading of the catalogue"),
    ("reading,,,,,12150,,,", "item", "nothing", "a reading of the catalogue"),
    # numbers
    ("reading,P,,,,,,,", "value", "nothing", "a length such as"),
    ("reading,P,,,,NaN,,,", "value", "NaN", "a length such as"),
    ("reading,P,,,,inf,,,", "value", "inf", "a length such as"),
    ("reading,P,,,,1e400,,,", "value", "1e400", "a length such as"),
    ("reading,P,,,,1e4,,,", "value", "1e4", "a length such as"),
    ('reading,P,,,,"12,150.5",,,', "value", "12,150.5", "a length such as"),
    ('reading,P,,,,"12,150",,,', "value", "12,150", "no thousands separator: 12150, or 12.150"),
    ('reading,P,,,,"12,150",mm,,', "value", "12,150", "no thousands separator"),
    ("reading,P,,,,12.150.000,,,", "value", "12.150.000", "a length such as"),
    ("reading,P,,,,12 150,,,", "value", "12 150", "a length such as"),
    ("reading,P,,,,12'150,,,", "value", "12'150", ""),
    ("reading,P,,,,0x10,,,", "value", "0x10", "unit"),
    ("reading,P,,,,=1+1,,,", "value", "=1+1", "a length such as"),
    ("reading,P,,,,-12150,,,", "value", "-12150", "not negative"),
    ("reading,P,,,,0,,,", "value", "0", "above 0"),
    ("reading,P,,,,999999999,,,", "value", "999999999", "120000 mm"),
    ("reading,P,,,,121,m,,", "value", "121", "120000 mm"),
    (f"reading,P,,,,{'1' * 50},,,", "value", "1111", "at most 40 characters"),
    ("reading,P,,,,39 ft 12 in,,,", "value", "39 ft 12 in", "fewer than 12 inches"),
    ("reading,P,,,,39 ft 10 13/13 in,,,", "value", "13/13", "fraction"),
    ("reading,string_to_band,,,,-200000,,,", "value", "-200000", "from -120000 to 120000 mm"),
    ("reading,scale_reading,,,,25000,,,", "value", "25000", "20000 kg"),
    # units
    ("reading,P,,,,12150,kg,,", "unit", "kg", "a unit of length"),
    ("reading,P,,,,12150,furlongish,,", "unit", "furlongish", "a unit of length"),
    ("reading,P,,,,12150,mm**2,,", "unit", "mm**2", "a unit of length"),
    ("reading,P,,,,12150,US_survey_foot,,", "unit", "", "at most 12 characters"),
    ("reading,scale_reading,,,,118.4,mm,,", "unit", "mm", "a unit of mass"),
    ("reading,scale_reading,,,,118.4 ft,,,", "value", "118.4 ft", "a weight"),
    # sides, takes, masts
    ("reading,string_to_sheer,,,,1118,,,", "position", "nothing", "port or starboard"),
    ("reading,string_to_sheer,,left,,1118,,,", "position", "left", "port or starboard"),
    ("reading,P,,port,,12150,,,", "position", "port", "no side"),
    ("reading,P,,,0,12150,,,", "take", "0", "a whole number from 1 to 99"),
    ("reading,P,,,1.5,12150,,,", "take", "1.5", "a whole number"),
    ("reading,P,,,100,12150,,,", "take", "100", "a whole number"),
    ("reading,P,,,one,12150,,,", "take", "one", "a whole number"),
    ("reading,P,bowsprit,,,12150,,,", "mast", "bowsprit", "main, mizzen or fore"),
    ("reading,P,mizzen,,,12150,,,", "mast", "mizzen", "main, since no row says the rig_type"),
    ("rig,mast_material,mizzen,,,carbon,,,", "mast", "mizzen", "main, since no row says the rig_type"),
    ("rig,rig_type,mizzen,,,sloop,,,", "mast", "mizzen", "the rig as a whole"),
    ("reading,spinnaker_halyard_above_band,,%s,,12150,,," % ("h" * 41), "position", "hhh", "at most 40 characters"),
    # words, answers, whole numbers
    ("visit,interest,,,,mother,,,", "value", "mother", "none, owner, designer, builder, crew or other"),
    ("rig,rig_type,,,,catamaran,,,", "value", "catamaran", "sloop, cutter, ketch, yawl or schooner"),
    ("rig,mast_material,,,,unobtainium,,,", "value", "unobtainium", "aluminium, carbon or wood"),
    ("rig,upper_band,,,,perhaps,,,", "value", "perhaps", "yes, no, true or false"),
    ("rig,supported_straight,,,,maybe,,,", "value", "maybe", "yes, no or not_applicable"),
    ("rig,spreader_pairs,,,,two,,,", "value", "two", "a whole number from 0 to 12"),
    ("rig,spreader_pairs,,,,13,,,", "value", "13", "a whole number from 0 to 12"),
    ("rig,spreader_pairs,,,,,,,", "value", "nothing", "a value, or no such row"),
    # dates
    ("visit,date,,,,2024-02-30,,,", "value", "2024-02-30", "a day that exists"),
    ("visit,date,,,,30.05.2024,,,", "value", "30.05.2024", "YYYY-MM-DD"),
    ("visit,date,,,,20240530,,,", "value", "20240530", "YYYY-MM-DD"),
    ("visit,date,,,,2024-06-02,,,", "value", "2024-06-02", "not in the future (today is 2024-06-01)"),
    ("visit,date,,,,0001-01-01,,,", "value", "0001-01-01", "1900-01-01"),
    # temperatures
    ("visit,air_temperature,,,,14.5,,,", "unit", "nothing", "degC or degF"),
    ("visit,air_temperature,,,,14.5,K,,", "unit", "K", "degC or degF"),
    ("visit,air_temperature,,,,warm,degC,,", "value", "warm", "a number"),
    ("visit,air_temperature,,,,150,degC,,", "value", "150", "from -50 to 60 degC"),
    # cells that mean nothing where they stand
    ("visit,boat,,,,Quiet Margin,mm,,", "unit", "mm", "no unit"),
    ("visit,boat,mizzen,,,Quiet Margin,,,", "mast", "mizzen", "an empty cell on a visit row"),
    ("visit,boat,,,2,Quiet Margin,,,", "take", "2", "an empty cell on a visit row"),
    ("rig,rig_type,,,,sloop,,T-03,", "instrument", "T-03", "an empty cell on a rig row"),
    ("rig,rig_type,,port,,sloop,,,", "position", "port", "an empty cell on a rig row"),
    # texts
    (f"visit,boat,,,,{'b' * 81},,,", "value", "bbb", "at most 80 characters instead of 81"),
    (f"visit,boat,,,,Quiet Margin,,,{'r' * 201}", "remark", "rrr", "at most 200 characters"),
    ("visit,boat,,,,Quiet\tMargin,,,", "value", "character U+0009", "without control characters"),
    ("visit,boat,,,,Quiet\x00Margin,,,", "value", "character U+0000", "without control characters"),
    ("visit,boat,,,,Quiet\u202eMargin,,,", "value", "RIGHT-TO-LEFT OVERRIDE", "without control characters"),
    ("visit,boat,,,,Quiet Margin,,,,extra", "", "extra", "at most 9 cells"),
    ('visit,boat,,,,"Quiet Margin,,,', "", "visit,boat", "quotation mark"),
    ('visit,boat,,,,"Quiet" Margin,,,', "", "visit,boat", "quotation mark"),
    # instruments
    ("reading,P,,,,12150,,T-99,", "instrument", "T-99", "an instrument of the office or of this file"),
    ("instrument,kind,,,,steel_tape,,,", "instrument", "nothing", "the instrument's identifier"),
    (f"instrument,kind,,,,steel_tape,,{'T' * 21},", "instrument", "TTT", "at most 20 characters"),
    ("instrument,kind,,,,laser,,T-03,", "value", "laser", "steel_tape"),
]


@pytest.mark.parametrize(("line", "column", "found", "expected"), ONE_FAULT, ids=[line[0][:60] for line in ONE_FAULT])
def test_one_fault_is_one_error_that_names_its_place(line: str, column: str, found: str, expected: str):
    error = only(sheet("# a comment", "", line))
    assert (error.row, error.column) == (4, column)
    assert found in error.found
    assert expected in error.expected


# Each: lines that fit one by one but not together; row and column of the fault; a piece of what is expected.
TOGETHER = [
    (["reading,P,,,1,12150,,,", "reading,luff_between_bands,main,,,12152,,,"], 3, "take", "row 2 has it already"),
    (
        [f"reading,spinnaker_halyard_above_band,,{name},1,12238,,," for name in ("Masthead", "masthead")],
        3,
        "take",
        "row 2 has it already",
    ),
    (["visit,boat,,,,Quiet Margin,,,", "visit,boat,,,,Quiet Margin,,,"], 3, "item", "row 2 has it already"),
    (["rig,upper_band,,,,yes,,,", "rig,upper_band,main,,,no,,,"], 3, "item", "row 2 has it already"),
    ([TAPE, TAPE], 3, "item", "row 2 has it already"),
    (["rig,rig_type,,,,sloop,,,", "reading,P,mizzen,,,8000,,,"], 3, "mast", "main, the masts of a sloop"),
    (["reading,P,fore,,,8000,,,", "rig,rig_type,,,,ketch,,,"], 2, "mast", "main or mizzen, the masts of a ketch"),
    ([SCHOONER, "reading,P,mizzen,,,8000,,,"], 3, "mast", "main or fore, the masts of a schooner"),
    ([SCHOONER, "reading,J,main,,,3000,,,"], 3, "mast", "fore: only the forward mast has this reading"),
    ([TAPE, "reading,P,,,,12150,,t-03,"], 3, "instrument", "nearest is T-03"),
    ([TAPE, "reading,scale_reading,,,,118,,T-03,"], 3, "instrument", "a scale; this one is a steel_tape"),
    (
        ["instrument,kind,,,,scale,,S-01,", "reading,P,,,,12150,,S-01,"],
        3,
        "instrument",
        "an instrument for lengths; this one is a scale",
    ),
    (["instrument,accuracy_class,,,,II,,T-03,"], 2, "item", "a row kind for T-03"),
    ([TAPE, "instrument,calibration_error,,,,0.8,mm,T-03,"], 3, "item", "a row nominal_length for T-03"),
    ([TAPE, "instrument,limit_of_error,,,,0.8,kg,T-03,"], 3, "unit", "a unit of length for a steel_tape"),
    (["instrument,kind,,,,scale,,S-01,", "instrument,limit_of_error,,,,0.2,mm,S-01,"], 3, "unit", "a unit of mass"),
    (
        [TAPE, "instrument,calibrated_on,,,,2024-01-02,,T-03,", "instrument,due_on,,,,2024-01-02,,T-03,"],
        4,
        "value",
        "a day after 2024-01-02",
    ),
    ([TAPE, "instrument,calibrated_on,,,,2024-06-02,,T-03,"], 3, "value", "not in the future"),
    ([TAPE, "instrument,calibration_error,,,,101,mm,T-03,"], 3, "value", "from -100 to 100 mm"),
    ([TAPE, "instrument,limit_of_error,,,,-1,mm,T-03,"], 3, "value", "from 0 to 100 mm"),
    ([TAPE, "instrument,nominal_length,,,,0,mm,T-03,"], 3, "value", "from 1 to 200000 mm"),
]


@pytest.mark.parametrize(("lines", "row", "column", "expected"), TOGETHER)
def test_lines_that_do_not_fit_together(lines: list[str], row: int, column: str, expected: str):
    found = [error for error in errors(sheet(*lines)) if (error.row, error.column) == (row, column)]
    assert len(found) == 1
    assert expected in found[0].expected


def test_every_error_is_said_at_once_in_the_order_of_the_rows():
    found = errors(
        sheet(
            "visit,date,,,,2031-01-01,,,",
            "reading,P,,port,0,NaN,kg,T-99,",
            "reading,J,,,,3641,,,",
            'rig,upper_band,,,,"unclosed',
            "reading,string_to_sheer,,left,,-1,,,",
        )
    )
    assert [(error.row, error.column) for error in found] == [
        (2, "value"),
        (3, "take"),
        (3, "position"),
        (3, "unit"),
        (5, ""),
        (6, "position"),
        (6, "value"),
    ]


def test_an_error_reads_as_one_sentence():
    assert str(only(sheet("reading,P,,,,NaN,,,"))) == (
        "log.csv, row 2, column value: found “NaN”; expected a length such as 15286, 15.286 m or 50 ft 1 13/16 in"
    )


def test_what_is_shown_cannot_steer_a_terminal():
    error = errors(sheet("visit,date,,,,\x1b[2Jnow,,,"))[0]
    assert "\x1b" not in str(error)
    assert "\x1b" not in str(LogSheetError("a\x1bb", 1, "value", "x", "y"))


def test_unknown_columns_are_refused_by_name_and_rows_still_read():
    found = errors(sheet("reading,P,,,,NaN,,,,red", header=HEADER + ",colour"))
    assert [(error.row, error.found) for error in found] == [(1, "“colour”"), (2, "“NaN”")]
    assert "record, item, mast" in found[0].expected


def test_a_mistyped_column_is_named_with_the_nearest_and_the_missing_one():
    found = errors(sheet("reading,P,,,,12150,,,", header=HEADER.replace("value", "valeu")))
    assert [(error.row, error.column) for error in found] == [(1, ""), (1, "value")]
    assert "nearest is value" in found[0].expected
    assert found[1].found == "no such column"


@pytest.mark.parametrize("column", COLUMNS)
def test_a_missing_column_is_said(column: str):
    header = ",".join(name for name in COLUMNS if name != column)
    found = errors(sheet("visit,boat,Quiet Margin", header=header))
    assert (found[0].row, found[0].column, found[0].found) == (1, column, "no such column")


def test_a_column_twice_is_refused():
    assert only(sheet("visit,boat,,,,Quiet Margin,,,,", header=HEADER + ",item")).expected == "each column once"


@pytest.mark.parametrize(("separator", "name"), [(";", "semicolons"), ("\t", "tabs"), ("|", "bars")])
def test_another_separator_is_named(separator: str, name: str):
    error = only(sheet("visit;boat", header=HEADER.replace(",", separator)))
    assert error.found == f"columns separated by {name}"


@pytest.mark.parametrize(
    ("data", "found"),
    [
        (b"", "an empty file"),
        (b"\n\n# nothing\n", "no header"),
        (HEADER.encode(), "no rows below the header"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", "an old workbook"),
    ],
)
def test_a_file_that_says_nothing(data: bytes, found: str):
    error = only(data)
    assert error.row is None
    assert found in error.found


def test_a_csv_named_xlsx_is_no_workbook():
    assert "no .xlsx" in errors(sheet("visit,boat,,,,Quiet Margin,,,"), name="log.xlsx")[0].found


def test_wrong_encoding_names_each_line_and_the_rest_is_read():
    data = sheet(
        "visit,boat,,,,Tern,,,", "visit,place,,,,Sk\xe4r,,,", "reading,P,,,,NaN,,,", "visit,measurer,,,,\xd8,,,"
    )
    latin = data.decode().encode("latin-1")
    found = errors(latin)
    assert [(error.row, error.column) for error in found] == [(3, ""), (4, "value"), (5, "")]
    assert "0xE4" in found[0].found
    assert found[0].expected == "text in UTF-8"


def test_utf_16_is_named():
    assert only(sheet("visit,boat,,,,Tern,,,").decode().encode("utf-16")).found == "text in UTF-16"


def test_two_mebibytes_and_one_byte_are_too_much():
    filled = sheet("visit,boat,,,,Tern,,,") + b"\n#"
    exact = filled + b"x" * (2 * 1024 * 1024 - len(filled))
    assert read(exact, "log.csv").visit("boat") is not None
    assert only(exact + b"x").found == "more than 2 MiB"


def test_five_thousand_rows_and_no_more():
    kinds = [kind for kind in READINGS.values() if kind.per == "mast" and kind.quantity == "length"]
    rig = ["rig,rig_type,,,,schooner,,,", "rig,mast_material,mizzen,,,wood,,,"]
    readings = [
        f"reading,{kind.slug},{mast},{side},{take},120,,,"
        for take in range(1, MOST_TAKES + 1)
        for kind in kinds
        for mast in ("main", "fore", "mizzen")
        for side in kind.sides or [""]
    ]
    lines = [*rig, *readings[:4998]]
    assert len(read(sheet(*lines), "log.csv").rows) == 5000
    error = only(sheet(*lines, "reading,P,,,,12150,,,"))
    assert (error.row, error.found) == (5002, "more than 5000 rows")


def test_no_more_halyards_than_a_mast_has():
    """The figures compare every halyard with every other: a sheet that names a thousand would never be worked out."""
    lines = [f"reading,spinnaker_halyard_above_band,,h{n % 13},{n // 13 + 1},12000,,," for n in range(26)]
    found = errors(sheet(*lines))
    assert [(error.row, error.column, error.found) for error in found] == [
        (14, "position", "“h12”"),
        (27, "position", "“h12”"),
    ]
    assert len(read(sheet(*lines[:12]), "log.csv").rows) == 12


def test_a_file_of_nothing_but_errors_ends_its_reading():
    """Each of a million short lines would be an error of some hundred bytes, and a line on the page."""
    for content in (sheet() + b'"\n' * (MOST_ERRORS + 5_000), b'"\n' * (MOST_ERRORS + 5_000)):
        found = errors(content)
        assert len(found) == MOST_ERRORS + 1
        assert found[-1].found == f"more than {MOST_ERRORS} errors"


def test_a_refused_rig_type_does_not_make_every_mizzen_row_an_error():
    found = errors(sheet("rig,rig_type,,,,kecth,,,", "reading,P,mizzen,,,8000,,,", "reading,E,mizzen,,,2500,,,"))
    assert [(error.row, error.column) for error in found] == [(2, "value")]


def test_a_refused_instrument_row_still_declares_its_instrument():
    found = errors(sheet("instrument,kind,,,,tape_measure,,T-03,", "reading,P,,,,12150,,T-03,"))
    assert [(error.row, error.column) for error in found] == [(2, "value")]


def test_what_is_accepted():
    read_back = accepted(
        'Visit,boat,main,,1," Quiet Margin ",,,',
        "visit,date,,,,2024-06-01",
        "rig,upper_band,,,,TRUE,,,,,",
        "rig,supported_straight,,,,Not applicable,,,",
        "instrument,kind,,,,Steel tape,,T-03,",
        "instrument,due_on,,,,2031-01-01,,T-03,",
        "reading,p,Main,,,12150,,T-03,",
        "reading,J,,,,3.641 m,,T-03,",
        "reading,E,,,,13' 6 5/16\",,T-03,",
        'reading,BD,,,,"141,2",,,',
        "reading,string_to_band,,,,-193,,,",
        "reading,string_to_sheer,,Port,,1118,,,",
        "reading,string_to_sheer,,Starboard,,1121,,,",
        "reading,spinnaker_halyard_above_band,,,,12238,,,",
        "reading,taper_length,,,,0,,,",
        "reading,scale_reading,,,,261 lb,,,",
    )
    assert said(read_back.visit("boat")) == "Quiet Margin"
    assert said(read_back.rig("upper_band", "main")) == "yes"
    assert said(read_back.rig("supported_straight", "main")) == "not_applicable"
    readings = {(row.item, row.position): row for row in read_back.record("reading")}
    assert readings["luff_between_bands", ""].instrument == "T-03"
    assert readings["foot_distance", ""].value == "13' 6 5/16\""
    assert readings["boom_depth", ""].value == "141,2"
    assert set(readings) >= {("string_to_sheer", "port"), ("string_to_sheer", "starboard")}


def test_columns_in_any_order_with_a_byte_order_mark_and_windows_line_ends():
    plain = accepted("reading,P,,,2,12150,,,", "visit,boat,,,,Tern,,,")
    turned = (
        "\ufeffValue,take,remark,unit,item,record,position,instrument,mast",
        "Tern,,,,boat,visit,,,",
        "12150,2,,,P,reading,,,",
    )
    assert read("\r\n".join(turned).encode(), "turned.csv") == plain


def test_an_instrument_of_the_office_need_not_be_declared():
    line = "reading,P,,,,12150,,T-03,"
    assert accepted(line, known_instruments={"T-03"}).record("reading")[0].instrument == "T-03"
    assert len(accepted(line, "instrument,accuracy_class,,,,I,,T-03,", known_instruments={"T-03"}).rows) == 2


def test_a_schooner_has_a_mizzen_once_a_row_describes_it():
    rows = accepted(
        SCHOONER, "rig,mast_material,mizzen,,,wood,,,", "reading,P,mizzen,,,8000,,,", "reading,J,,,,3000,,,"
    )
    assert [(row.item, row.mast) for row in rows.record("reading")] == [
        ("luff_between_bands", "mizzen"),
        ("foretriangle_base", "fore"),
    ]
