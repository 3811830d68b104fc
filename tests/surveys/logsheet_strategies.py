"""Random valid log sheets for property tests."""

from __future__ import annotations

import datetime as dt
import unicodedata

from hypothesis import strategies as st

from computations.catalogue import READINGS
from surveys.logsheet import LogSheet, Row
from surveys.logsheet.fields import INSTRUMENT_FIELDS, MAY_BE_NOUGHT, RIG_FIELDS, VISIT_FIELDS, Field
from surveys.logsheet.whole import MASTS_OF

DATES = st.dates(min_value=dt.date(1900, 1, 1), max_value=dt.date(2024, 1, 1)).map(dt.date.isoformat)


def _kept(text: str) -> str:
    return unicodedata.normalize("NFC", text).strip()


def texts(longest: int, least: int = 1) -> st.SearchStrategy[str]:
    """Texts a person can type, those a spreadsheet would take for formulas among them."""
    characters = st.characters(codec="utf-8", exclude_categories=("Cc", "Cs", "Zl", "Zp", "Cf", "Cn"))
    plain = st.text(characters, min_size=least, max_size=longest)
    tricky = st.sampled_from(
        ["=1+1", "'=x", "''", "'", "-5", "-5x", "+1", "@a", '"', '"",', "#1", "_x0041_", "0042", "NA"]
    )
    return (plain | tricky).map(_kept).filter(lambda text: least <= len(text) <= longest)


def _decimal(number: int, places: int, comma: bool) -> str:
    digits = f"{number:0{places + 1}d}"
    return digits[: len(digits) - places] + (("," if comma else ".") + digits[len(digits) - places :] if places else "")


@st.composite
def lengths(draw: st.DrawFn) -> tuple[str, str]:
    """A length as written, and its unit: always above 0 and below 120 m."""
    match draw(st.sampled_from(["mm", "m", "text", "feet", "inches"])):
        case "mm":
            text = _decimal(draw(st.integers(100, 119_999)), draw(st.integers(0, 2)), draw(st.booleans()))
            return text, draw(st.sampled_from(["", "mm"]))
        case "m":
            return _decimal(draw(st.integers(1, 99_999)), 3, draw(st.booleans())), "m"
        case "text":
            return f"{draw(st.integers(1, 9999))} cm", draw(st.sampled_from(["", "mm", "cm"]))
        case "feet":
            feet, inches, part = draw(st.integers(0, 300)), draw(st.integers(0, 11)), draw(st.integers(1, 15))
            form = draw(st.sampled_from(["{} ft {} {}/16 in", "{}' {} {}/16\"", "{}ft {} {}/16in"]))
            return form.format(feet, inches, part), ""
        case _:
            return f"{draw(st.integers(1, 99))} {draw(st.integers(1, 15))}/16", "in"


@st.composite
def described(
    draw: st.DrawFn, record: str, item: str, field: Field, *, mast: str = "", instrument: str = "", kind: str = ""
) -> Row:
    """One visit, rig or instrument row with a value its form allows."""
    unit = ""
    match field.form:
        case "text":
            value = draw(texts(field.longest))
        case "word":
            value = draw(st.sampled_from(field.words))
        case "yes_no":
            value = draw(st.sampled_from(["yes", "no"]))
        case "date":
            value = draw(DATES)
        case "count":
            value = str(draw(st.integers(0, int(field.most))))
        case "temperature":
            value, unit = _decimal(draw(st.integers(0, 400)), 1, draw(st.booleans())), "degC"
        case _:
            value, unit = str(draw(st.integers(1, 100))), "kg" if kind == "scale" else "mm"
    return Row(record, item, value, unit, mast, instrument=instrument, remark=draw(texts(20, least=0)))


@st.composite
def instruments(draw: st.DrawFn, identifier: str) -> list[Row]:
    kind = draw(st.sampled_from(INSTRUMENT_FIELDS["kind"].words))
    rows = [Row("instrument", "kind", kind, instrument=identifier)]
    rows.append(Row("instrument", "nominal_length", str(draw(st.integers(1, 200))), "m", instrument=identifier))
    others = sorted(set(INSTRUMENT_FIELDS) - {"kind", "nominal_length", "due_on"})
    rows += [
        draw(described("instrument", item, INSTRUMENT_FIELDS[item], instrument=identifier, kind=kind))
        for item in draw(st.sets(st.sampled_from(others)))
    ]
    rows.append(Row("instrument", "due_on", "2031-01-01", instrument=identifier))
    return rows


@st.composite
def readings(draw: st.DrawFn, mast: str, forward: str, by_kind: dict[bool, list[str]]) -> list[Row]:
    rows: dict[tuple[str, str, int], Row] = {}
    for slug in draw(st.lists(st.sampled_from(sorted(READINGS)), max_size=12)):
        kind = READINGS[slug]
        if kind.per == "boat" and mast != forward:
            continue
        value, unit = draw(lengths())
        if kind.quantity == "mass":
            value, unit = str(draw(st.integers(1, 9999))), draw(st.sampled_from(["", "kg", "lb"]))
        elif kind.may_be_negative and draw(st.booleans()):
            value = f"-{value}"
        elif slug in MAY_BE_NOUGHT and draw(st.booleans()):
            value, unit = "0", ""
        position = draw(st.sampled_from(kind.sides)) if kind.sides else ""
        if kind.named_position:
            position = draw(texts(12, least=0))
        instrument = draw(st.sampled_from(["", *by_kind[kind.quantity == "mass"]]))
        take = draw(st.integers(1, 99))
        row = Row("reading", slug, value, unit, mast, position, take, instrument, draw(texts(30, least=0)))
        rows.setdefault((slug, position.casefold(), take), row)
    return list(rows.values())


@st.composite
def sheets(draw: st.DrawFn) -> LogSheet:
    """Any valid log sheet."""
    rig_type = draw(st.sampled_from(sorted(MASTS_OF)))
    masts = MASTS_OF[rig_type]
    rows = [Row("rig", "rig_type", rig_type)]
    rows += [
        draw(described("visit", item, VISIT_FIELDS[item]))
        for item in draw(st.sets(st.sampled_from(sorted(VISIT_FIELDS))))
    ]
    rows += [
        draw(described("rig", item, RIG_FIELDS[item], mast=mast))
        for item in draw(st.sets(st.sampled_from(sorted(set(RIG_FIELDS) - {"rig_type"}))))
        for mast in (masts if RIG_FIELDS[item].per_mast else ("",))
    ]
    by_kind: dict[bool, list[str]] = {True: [], False: []}
    for identifier in draw(st.lists(texts(20), max_size=3, unique=True)):
        declared = draw(instruments(identifier))
        rows.extend(declared)
        by_kind[declared[0].value == "scale"].append(identifier)
    forward = "fore" if "fore" in masts else "main"
    for mast in masts:
        rows.extend(draw(readings(mast, forward, by_kind)))
    return LogSheet.of(rows)
