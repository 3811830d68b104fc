"""A spot check at the dock: the same documents as a visit's, so that the same page takes its readings, offline too.

What waits on a device is taken entry by entry, each in a transaction of its own, known again by its token. A take that
says something else by now is not overwritten: the device's figure becomes the next take, and the answer says so.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django.db import transaction
from django.template.loader import render_to_string
from django.urls import reverse

from computations import drawing, words
from computations.catalogue import READINGS
from computations.rounding import format_number
from office.audit.refusals import NotAllowed, Refusal, WrongState
from office.certificates import snapshot
from office.people.models import Person
from office.racing import rules, spot_checks, spot_rows
from office.racing.models import SpotCheck, SpotReading
from office.racing.spot_figures import derive_spot, findings, standing_readings
from surveys.dock import JSON, STATION_NAMES, described
from surveys.dock_entries import Entry, entry_of, said_token
from surveys.dock_sending import typed_by_another
from surveys.reading_rows import ReadingRow
from surveys.row_keys import NEW
from surveys.values import read_value

Aliases = dict[str, str]  # tokens of this request -> that of the same value, which another device had stored
NOT_HERE = "A spot check knows takes only: record a figure, amend it or take it away."


def addresses(spot: SpotCheck) -> JSON:
    """What the page tells its script. There are no photographs of a spot check."""
    keys = [spot.event.key, spot.key]
    return {
        "key": f"spot:{spot.key}",
        "under": under(spot),
        "state_url": reverse("events:spot_state", args=keys),
        "send_url": reverse("events:spot_send", args=keys),
        "photo_url": "",
        "list_url": reverse("events:spot_check", args=keys),
        "worker_url": reverse("events:worker"),
        "worker_scope": reverse("events:list"),
    }


def under(spot: SpotCheck) -> str:
    parts = (spot.boat.sail_number, spot.place or spot.event.name, spot.day.isoformat())
    return " · ".join(part for part in parts if part)


def state_of(spot: SpotCheck, person: Person) -> JSON:
    """The whole state, in the dock page's own form."""
    rows = spot_rows.rows_of(spot)
    why_not = "" if rules.holds(rules.check_spot_open, spot) else "This spot check is finished: what it found stands."
    return {
        "key": f"spot:{spot.key}",
        "title": spot.boat.name,
        "under": under(spot),
        "me": {"key": person.key, "name": person.name},
        "writable": not why_not,
        "why_not": why_not,
        "edition": 1,
        "signed_once": False,
        "takes_only": True,  # nothing is absent here, nothing is signed: the page offers neither
        "units": "feet" if person.lengths == "feet" else "mm",
        "shows_previous": False,
        "stations": [{"slug": slug, "name": name} for slug, name in STATION_NAMES.items()],
        "instruments": [
            {"identifier": tool.identifier, "kind": tool.kind, "label": tool.words}
            for tool in spot_rows.tools_of(spot)
        ],
        "rows": [_row(row, person) for row in rows],
        "undo": None,
        "conflicts": [],
        "panel": _panel(spot, rows),
        "photos": [],
    }  # fmt: skip


def _row(row: spot_rows.SpotRow, person: Person) -> JSON:
    plain = ReadingRow(
        row.kind, row.mast, row.position, required=not row.open_position, open_position=row.open_position
    )
    return {
        **described(plain, several=row.mast != "main"),
        "instrument": row.instrument or None,
        "instruments": [tool.identifier for tool in row.tools],
        "decided_by_description": False,
        "previous": None,
        "absent": None,
        "takes": [take_json(take, person) for take in row.takes],
    }


def take_json(take: SpotReading, person: Person) -> JSON:
    return {
        "token": take.token,
        "take": take.take,
        "value": take.value,
        "text": take.written,
        "unit": take.unit_written,
        "instrument": take.instrument,
        "remark": take.remark,
        "by": take.recorded_by.name,
        "by_me": take.recorded_by_id == person.pk,
        "at": take.recorded_at.isoformat(),
        "read_back": _read_back(take),
        "withdrawn": take.value is None,
    }


def _read_back(take: SpotReading) -> str:
    if take.value is None:
        return "taken away"
    unit = READINGS[take.slug].unit
    decimals = 0 if float(take.value).is_integer() else 1
    return f"{format_number(take.value, decimals)} {unit}: {words.with_unit(take.value, unit, decimals)}"


def _panel(spot: SpotCheck, rows: list[spot_rows.SpotRow]) -> JSON:
    missing = [row for row in rows if not row.takes and not row.open_position]
    context = {"found": findings(spot), "spot": spot}
    document = snapshot.read(spot.certificate)
    derived = derive_spot(spot, document, standing_readings(spot))
    rig = drawing.figures_from(derived.dimensions, snapshot.rig_of(document), ())
    return {
        "html": render_to_string("racing/events/spot_panel.html", context),
        "drawing": drawing.draw_rig(
            rig, title=f"Rig of {spot.boat.name}", id_prefix="dock", width=drawing.NARROW
        ),
        "next": {"row": missing[0].key, "sentence": f"Next: {missing[0].name}."} if missing
        else {"row": None, "sentence": "Everything chosen is read; finish the check on its page."},
        "checks": [],
        "missing": len(missing),
        "read": len([row for row in rows if row.takes]),
    }  # fmt: skip


# ---- Sending ----


def send(*, by: Person, spot: SpotCheck, entries: Iterable[object]) -> list[JSON]:
    """Take the entries in their order; one that is refused never stands in the way of the next."""
    rules.check_may_run(by, spot.event)
    known_as: Aliases = {}
    return [_one(by, spot, given, known_as) for given in entries]


def _one(by: Person, spot: SpotCheck, given: object, known_as: Aliases) -> JSON:
    token = said_token(given)
    try:
        entry = entry_of(given)
        outcome, sentence, reading = _taken(by, spot, entry, known_as)
    except Refusal as refusal:
        return {"token": token, "outcome": "refused", "sentence": str(refusal), "current": None}
    current = take_json(reading, by) if reading else None
    return {"token": token, "outcome": outcome, "sentence": sentence, "current": current}


@transaction.atomic
def _taken(by: Person, spot: SpotCheck, entry: Entry, known_as: Aliases) -> tuple[str, str, SpotReading | None]:
    known = SpotReading.objects.select_related("recorded_by").filter(token=entry.token).first()
    if known is not None:
        return _again(spot, entry, known)
    if entry.by and entry.by != by.key:
        raise NotAllowed(typed_by_another(entry.by))
    if entry.kind == "take":
        return _take(by, spot, entry, known_as)
    if entry.kind in {"amend", "take_away"}:
        return _replace(by, spot, entry, known_as)
    raise WrongState(NOT_HERE)


def _again(spot: SpotCheck, entry: Entry, known: SpotReading) -> tuple[str, str, SpotReading | None]:
    if known.spot_check_id != spot.pk:
        raise WrongState("This entry was sent for another spot check.")
    said = "" if entry.kind == "take_away" else entry.text.strip()
    if said != known.written:
        raise WrongState(f"This entry was stored before as {known.written or 'taken away'}; amend the reading.")
    return "already", f"Stored already: {_read_back(known)}.", known


def _take(by: Person, spot: SpotCheck, entry: Entry, known_as: Aliases) -> tuple[str, str, SpotReading | None]:
    slug, mast, position = _place(spot, entry)
    about: dict[str, Any] = {
        "by": by, "spot": spot, "slug": slug, "mast": mast, "position": position, "text": entry.text,
        "unit": entry.unit, "instrument": entry.instrument, "remark": entry.remark, "token": entry.token,
    }  # fmt: skip
    try:
        stored = spot_checks.record_reading(**about, take=entry.take)
    except spot_checks.TakeThere as there:
        same = read_value(READINGS[slug], entry.text, entry.unit).value == there.reading.value
        if same and there.reading.instrument == entry.instrument:
            known_as[entry.token] = there.reading.token
            return "already", f"Another device stored the same value: {_read_back(there.reading)}.", there.reading
        stored = spot_checks.record_reading(**about)
        now = "has been taken away" if there.reading.value is None else f"says {there.reading.written}"
        said = f"Take {entry.take} {now} by now; this is kept as take {stored.take}"
        return "stored", f"{said}: {_read_back(stored)}.", stored
    return "stored", f"Stored: {_read_back(stored)}.", stored


def _replace(by: Person, spot: SpotCheck, entry: Entry, known_as: Aliases) -> tuple[str, str, SpotReading | None]:
    token = known_as.get(entry.replaces, entry.replaces)
    reading = SpotReading.objects.filter(spot_check=spot, token=token).first()
    if reading is None:
        raise WrongState("The reading that this one replaces has not been stored here.")
    away = entry.kind == "take_away"
    stored = spot_checks.replace_reading(
        by=by, reading=reading, text=None if away else entry.text, unit=entry.unit, instrument=entry.instrument,
        reason=entry.reason, remark=entry.remark, token=entry.token,
    )  # fmt: skip
    return "stored", "Taken away." if away else f"Amended: {_read_back(stored)}.", stored


def _place(spot: SpotCheck, entry: Entry) -> tuple[str, str, str]:
    """What a row's key stands for, among the rows of this check. WrongState for any other."""
    for row in spot_rows.rows_of(spot):
        if row.key == entry.row:
            return row.kind.slug, row.mast, entry.position if row.open_position else row.position
    slug, mast, place = [*entry.row.split("-"), "", ""][:3]
    named = entry.position.strip()
    if named and place != NEW and any(row.kind.slug == slug and row.mast == mast for row in spot_rows.rows_of(spot)):
        return slug, mast, named
    raise WrongState(f"“{entry.row[:60]}” is no reading of this spot check.")
