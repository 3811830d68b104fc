"""The visit as one JSON document for the dock page: rows, takes, conflicts, photographs and the live panel."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.shortcuts import get_object_or_404
from django.templatetags.static import static
from django.urls import reverse

from computations import units
from computations.catalogue import DIMENSIONS, READINGS, STATIONS, ReadingKind
from computations.rounding import format_number
from office.people.models import Person
from office.policy import queries as policy_queries
from surveys import rules
from surveys.actions.readings import undoable
from surveys.dock_panel import panel_of
from surveys.figures import derive_visit
from surveys.logsheet.fields import LARGEST_LENGTH_MM, LARGEST_MASS_KG
from surveys.models import AbsentReading, Photo, Reading, ReadingConflict, Visit
from surveys.queries import mean_values, open_conflicts, photos_of, previous_accepted, with_content
from surveys.reading_rows import ReadingRow, rows_of
from surveys.reading_words import instrument_words, place_words, read_back, reading_token
from surveys.row_keys import Place, row_key
from surveys.transitions import OPEN

STATION_NAMES = {"ashore": "Mast ashore", "afloat": "At the boat", "boom_and_pole": "Boom and pole"}
_BY_SYMBOL = {kind.symbol: kind.slug for kind in DIMENSIONS.values() if kind.symbol}
STATIC = settings.BASE_DIR / "office" / "static" / "office"
JSON = dict[str, Any]


def dock_visit(key: str, person: Person) -> Visit:
    """The visit with all the page shows, for whoever measures it."""
    visit = get_object_or_404(with_content(Visit.objects.all()), key=key)
    rules.check_may_see(person, visit)
    rules.check_may_measure(person, visit)
    return visit


def state_of(visit: Visit, person: Person) -> JSON:
    """The whole state. The visit is as `dock_visit` loads it; the number of queries does not grow with its rows."""
    feet = person.lengths == "feet"
    rows = rows_of(visit) if visit.rig else []
    figures = derive_visit(visit)
    why_not = why_not_writable(visit, person)
    return {
        "key": f"visit:{visit.key}",
        "title": visit.boat.name,
        "under": under(visit),
        "me": {"key": person.key, "name": person.name},
        "writable": not why_not,
        "why_not": why_not,
        "edition": visit.edition,
        "signed_once": visit.signed_at is not None,
        "units": "feet" if feet else "mm",
        **_rows_json(visit, rows, person, feet=feet),
        "undo": _undo(visit, person) if not why_not else None,
        "conflicts": [_conflict(visit, one, person) for one in open_conflicts(visit)],
        "panel": panel_of(visit, rows, figures, feet=feet),
        "photos": [photo_json(one, visit) for one in photos_of(visit)],
    }


def addresses(visit: Visit) -> JSON:
    """What the page tells its script: the names under which it keeps and sends."""
    return {
        "key": f"visit:{visit.key}",
        "under": under(visit),
        **{
            f"{name}_url": reverse(f"surveys:{address}", args=[visit.key])
            for name, address in (
                ("state", "dock_state"), ("send", "dock_send"), ("photo", "dock_photo"), ("list", "readings")
            )
        },
        "worker_url": reverse("surveys:worker"),
        "worker_scope": reverse("surveys:list"),
    }  # fmt: skip


def static_files() -> list[str]:
    """The addresses of what the page needs besides itself, for the worker to keep."""
    own = sorted(one.name for one in STATIC.glob("dock*.*") if one.suffix in {".js", ".css"})
    return [static(f"office/{name}") for name in ("office.css", "icon.svg", "office.js", "drawing.js", *own)]


def why_not_writable(visit: Visit, person: Person) -> str:
    if sentence := rules.why_not(rules.check_may_measure, person, visit):
        return sentence
    if visit.state in OPEN and visit.rig is None:
        return "The boat's rig has not been described yet, so nothing can be read on it."
    return rules.why_not(rules.check_state, visit, "write")


def under(visit: Visit) -> str:
    """Sail number, place and day in one line."""
    day = visit.date or visit.planned_on
    parts = (visit.boat.sail_number, visit.place or visit.harbour, day.isoformat() if day else "")
    return " · ".join(part for part in parts if part)


# ---- Rows ----


def _rows_json(visit: Visit, rows: list[ReadingRow], person: Person, *, feet: bool) -> JSON:
    shown = policy_queries.current().show_previous_to_measurer
    earlier = previous_accepted(visit)
    values = mean_values(earlier) if earlier else {}
    day = earlier.date.isoformat() if earlier and earlier.date else ""
    instruments = {one.identifier: one for row in rows for one in row.instruments}
    several = len({row.mast for row in rows}) > 1
    found = []
    for row in rows:
        place = (row.kind.slug, row.mast, row.position)
        previous = values.get(place) if shown or row.takes else None
        found.append(
            {
                **described(row, several=several),
                "previous": None if previous is None else _previous(row.kind, previous, day, feet=feet),
                "absent": _absent(row.absent),
                "takes": [take_json(one, visit, person) for one in row.takes],
            }
        )
    return {
        "shows_previous": shown,
        "stations": [{"slug": slug, "name": STATION_NAMES[slug]} for slug in STATIONS],
        "instruments": [
            {"identifier": one.identifier, "kind": one.kind, "label": instrument_words(one)}
            for _, one in sorted(instruments.items())
        ],
        "rows": found,
    }


def described(row: ReadingRow, *, several: bool) -> JSON:
    kind = row.kind
    greatest = LARGEST_MASS_KG if kind.quantity == "mass" else LARGEST_LENGTH_MM
    return {
        "key": row.key,
        "slug": kind.slug,
        "mast": row.mast,
        "position": row.position,
        "name": place_words(kind, "main", row.position),
        "mast_label": f"{row.mast} mast" if several and row.mast != "main" else "",
        "symbol": kind.symbol,
        "how": kind.how,
        "station": kind.station,
        "unit": kind.unit,
        "units": list(row.units),
        "resolution": kind.resolution,
        "required": row.required,
        "open_position": row.open_position,
        "may_be_negative": kind.may_be_negative,
        "least": -greatest if kind.may_be_negative else 0.0,
        "greatest": greatest,
        "instrument": row.instrument or None,
        "instruments": [one.identifier for one in row.instruments],
        "dimensions": [_BY_SYMBOL[symbol] for symbol in kind.feeds if symbol in _BY_SYMBOL],
        "decided_by_description": kind.decided_by_description,
    }


def take_json(reading: Reading, visit: Visit, person: Person) -> JSON:
    return {
        "token": reading_token(reading, visit.key),
        "take": reading.take,
        "value": reading.value,
        "text": reading.written,
        "unit": reading.unit_written,
        "instrument": reading.instrument.identifier if reading.instrument else "",
        "remark": reading.remark,
        "by": reading.recorded_by.name,
        "by_me": reading.recorded_by_id == person.pk,
        "at": reading.recorded_at.isoformat(),
        "read_back": read_back(reading),
        "withdrawn": reading.withdrawn,
    }


def _previous(kind: ReadingKind, value: float, day: str, *, feet: bool) -> JSON:
    text = f"{format_number(value, 0 if kind.resolution == 1.0 else 1)} {kind.unit}"
    if feet and kind.unit == "mm":
        text = f"{text} ({units.format_feet_inches(value)})"
    return {"value": value, "text": text, "date": day}


def _absent(mark: AbsentReading | None) -> JSON | None:
    if mark is None:
        return None
    return {"token": mark.token, "reason": mark.reason, "by": mark.marked_by.name, "at": mark.marked_at.isoformat()}


def _undo(visit: Visit, person: Person) -> JSON | None:
    """What this person stored last and may take back with one touch."""
    last = undoable(person, visit)
    if last is None:
        return None
    kind = READINGS[last.slug]
    what = "taken away" if last.withdrawn else last.as_written
    return {
        "token": reading_token(last, visit.key),
        "row": row_key(kind, last.mast, last.position),
        "sentence": f"{place_words(kind, last.mast, last.position)}, take {last.take}: {what}",
    }


def _conflict(visit: Visit, one: ReadingConflict, person: Person) -> JSON:
    kind = READINGS[one.slug]
    mine = {
        "value": one.value,
        "text": one.written,
        "unit": one.unit_written,
        "instrument": one.instrument.identifier if one.instrument else "",
        "remark": one.remark,
        "by": one.sent_by.name,
        "by_me": one.sent_by_id == person.pk,
        "at": one.received_at.isoformat(),
        "withdraws": one.withdraws,
    }
    standing = _standing(visit, (one.slug, one.mast, one.position), one.take) or one.theirs
    return {
        "token": one.token,
        "row": row_key(kind, one.mast, one.position),
        "name": place_words(kind, one.mast, one.position),
        "take": one.take,
        "mine": mine,
        "theirs": take_json(standing, visit, person),
    }


def _standing(visit: Visit, place: Place, take: int) -> Reading | None:
    """The latest row of a take, among those loaded with the visit."""
    rows = [one for one in visit.readings.all() if (one.slug, one.mast, one.position, one.take) == (*place, take)]
    replaced = {one.replaces_id for one in rows}
    return next((one for one in rows if one.pk not in replaced), None)


def photo_json(one: Photo, visit: Visit) -> JSON:
    url = reverse("surveys:photo", args=[visit.key, one.key])
    row = row_key(READINGS[one.slug], one.mast, one.position) if one.slug else ""
    return {
        "key": one.key,
        "token": one.token,
        "url": url,
        "thumb": f"{url}?small",
        "row": row,
        "remark": one.remark,
        "by": one.added_by.name,
        "at": one.added_at.isoformat(),
        "width": one.width,
        "height": one.height,
    }
