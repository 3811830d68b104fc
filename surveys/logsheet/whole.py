"""What no row can tell alone: the same thing said twice, masts the rig does not have, instruments nobody knows."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import replace

from computations.catalogue import READINGS
from computations.inputs import MAST_NAMES
from surveys.logsheet.cells import Unfit, listed, nearest, quantity
from surveys.logsheet.document import Row
from surveys.logsheet.errors import Findings
from surveys.logsheet.fields import MOST_POSITIONS
from surveys.logsheet.rows import NumberedRow, kind_of_unit

MASTS_OF = {
    "sloop": ("main",),
    "cutter": ("main",),
    "ketch": ("main", "mizzen"),
    "yawl": ("main", "mizzen"),
    "schooner": ("main", "fore"),  # and a mizzen where a row describes one
}


def masts_of(rig_type: str | None, described: Collection[str]) -> tuple[str, ...]:
    """The rig's masts from the main mast on: those its type has, a schooner's mizzen where a rig row describes it."""
    masts = MASTS_OF[rig_type] if rig_type else ("main",)
    third = rig_type == "schooner" and "mizzen" in described
    return tuple(name for name in MAST_NAMES if name in masts or (third and name == "mizzen"))


def with_masts(rows: list[NumberedRow], findings: Findings, *, rig_type_refused: bool) -> list[NumberedRow]:
    """The rows with each reading on a mast that bears it: what only the forward mast has goes there by itself."""
    if rig_type_refused:
        return rows
    described = {one.row.mast for one in rows if one.row.record == "rig"}
    rig_type = next((one.row.value for one in rows if one.row.record == "rig" and one.row.item == "rig_type"), None)
    masts = masts_of(rig_type, described)
    forward = "fore" if "fore" in masts else "main"
    expected = f"{listed(masts)}, the masts of a {rig_type}" if rig_type else "main, since no row says the rig_type"
    placed = []
    for one in rows:
        row = one.row
        if row.record == "reading" and READINGS[row.item].per == "boat":
            if not one.mast_given:
                row = replace(row, mast=forward)
            elif row.mast in masts and row.mast != forward:
                findings.add(one.number, "mast", row.mast, f"{forward}: only the forward mast has this reading")
        if row.mast and row.mast not in masts:
            findings.add(one.number, "mast", row.mast, expected)
        placed.append(one._replace(row=row))
    return placed


def check_repeats(rows: Iterable[NumberedRow], findings: Findings) -> None:
    """Note every row that says again what an earlier one said."""
    seen: dict[tuple[str, ...], int] = {}
    for number, row, _ in rows:
        owner = row.instrument if row.record == "instrument" else ""
        key = (row.record, row.item, row.mast, row.position.casefold(), str(row.take), owner)
        first = seen.setdefault(key, number)
        if first == number:
            continue
        if row.record == "reading":
            found = f"take {row.take} of {' '.join(part for part in (row.item, row.mast, row.position) if part)} again"
            expected = f"each take once; row {first} has it already"
            findings.add(number, "take", found, expected, quoted=False)
        else:
            said = " ".join(part for part in (owner, row.mast, row.item) if part)
            findings.add(number, "item", f"{said} again", f"each item once; row {first} has it already", quoted=False)


def check_positions(rows: Iterable[NumberedRow], findings: Findings) -> None:
    """Note the rows that name more places of one reading than a mast has: figures are worked out of all of them."""
    named: dict[tuple[str, str], set[str]] = {}
    for number, row, _ in rows:
        if row.record != "reading" or not READINGS[row.item].named_position:
            continue
        places = named.setdefault((row.item, row.mast), set())
        if row.position not in places and len(places) == MOST_POSITIONS:
            findings.add(number, "position", row.position, f"at most {MOST_POSITIONS} names on one mast")
        else:
            places.add(row.position)


def check_instruments(
    rows: Iterable[NumberedRow], declared: Collection[str], known: Collection[str], findings: Findings
) -> None:
    """Note readings with an instrument nobody knows, and declarations that contradict themselves.

    `declared` are the identifiers of the file's instrument rows, `known` those of the office's records.
    """
    records: dict[str, dict[str, tuple[int, Row]]] = {}
    for number, row, _ in rows:
        if row.record == "instrument":
            records.setdefault(row.instrument, {})[row.item] = (number, row)
    for identifier, items in records.items():
        _check_record(identifier, items, identifier in known, findings)
    for number, row, _ in rows:
        if row.record != "reading" or not row.instrument:
            continue
        if row.instrument not in declared and row.instrument not in known:
            hint = nearest(row.instrument, {*declared, *known})
            findings.add(number, "instrument", row.instrument, f"an instrument of the office or of this file{hint}")
        elif "kind" in (items := records.get(row.instrument, {})):
            kind = items["kind"][1].value
            if (kind == "scale") != (READINGS[row.item].quantity == "mass"):
                needed = "a scale" if kind != "scale" else "an instrument for lengths"
                findings.add(number, "instrument", row.instrument, f"{needed}; this one is a {kind}")


def _check_record(identifier: str, items: dict[str, tuple[int, Row]], stored: bool, findings: Findings) -> None:
    first = min(number for number, _ in items.values())
    kind = items["kind"][1].value if "kind" in items else ""
    if not kind and not stored:
        findings.add(first, "item", f"no kind of {identifier}", f"a row kind for {identifier}", quoted=False)
    if "due_on" in items and "calibrated_on" in items:
        number, due = items["due_on"]
        if due.value <= items["calibrated_on"][1].value:
            findings.add(
                number, "value", due.value, f"a day after {items['calibrated_on'][1].value}, when it was calibrated"
            )
    for item in ("limit_of_error", "calibration_error"):
        if item in items and kind:
            _check_error(*items[item], kind, findings)
    if "calibration_error" in items and "nominal_length" not in items and kind not in ("", "scale") and not stored:
        number, row = items["calibration_error"]
        expected = f"a row nominal_length for {identifier}: the error is the one at that length"
        findings.add(number, "item", row.item, expected)


def _check_error(number: int, row: Row, kind: str, findings: Findings) -> None:
    """A scale errs in mass, every other instrument in length."""
    expected = "mass" if kind == "scale" else "length"
    if row.unit or kind_of_unit(row.value, "") == "mass":
        try:
            quantity(row.value, row.unit, expected)
        except Unfit:
            findings.add(number, "unit", row.unit, f"a unit of {expected} for a {kind}")
