"""The dock page's live panel: figures, drawing, checks, what is missing and what to read next."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.template.loader import render_to_string

from computations import drawing
from computations.catalogue import boom_height_alternatives
from computations.inputs import Rig
from computations.next_reading import NextReadings
from surveys.figures import Figures
from surveys.inputs import rig_inputs
from surveys.models import Visit
from surveys.panel import panel_context
from surveys.reading_rows import ReadingRow
from surveys.reading_words import place_words
from surveys.row_keys import Place

JSON = dict[str, Any]


def panel_of(visit: Visit, rows: list[ReadingRow], figures: Figures, *, feet: bool) -> JSON:
    """What the readings say so far: its page, the drawing, what to read next, the checks, and how much is missing."""
    context = panel_context(visit, figures, drawn=False)
    missing = _missing(visit, rows)
    return {
        "html": render_to_string("surveys/dock_panel.html", {**context, "feet_inches": feet, "missing": len(missing)}),
        "drawing": _drawing(visit, figures),
        "next": _next(rows, missing, context["next"]),
        "checks": _checks(figures, rows),
        "missing": len(missing),
        "read": sum(bool(row.takes) for row in rows),
    }


def _checks(figures: Figures, rows: list[ReadingRow]) -> list[JSON]:
    """Each finding with the rows it is about, so that its word can stand beside the reading just stored."""
    keys: dict[Place, list[str]] = {}
    for row in rows:
        keys.setdefault((row.kind.slug, row.mast, row.position), []).append(row.key)
    return [
        {
            "key": one.key,
            "grade": one.grade,
            "message": one.message,
            "advice": one.advice,
            "rows": [key for ref in one.readings for key in keys.get((ref.reading, ref.mast, ref.position), [])],
            "settled": one.key in figures.settled,
        }
        for one in figures.checks
    ]


def _drawing(visit: Visit, figures: Figures) -> str:
    """For a phone; a wider page has it beside the readings list."""
    rig = drawing.figures_from(figures.derivation.dimensions, figures.inputs.rig, figures.inputs.readings)
    return drawing.draw_rig(rig, title=f"Rig of {visit.boat.name}", id_prefix="dock", width=drawing.NARROW)


def _missing(visit: Visit, rows: list[ReadingRow]) -> list[ReadingRow]:
    """Rows still to be read, in walking order; of the boom's two methods the one that lacks less."""
    rig = rig_inputs(visit.rig) if visit.rig else Rig()
    absent = {(row.kind.slug, row.mast, row.position) for row in rows if row.absent}
    read = {(row.kind.slug, row.mast, row.position) for row in rows if row.takes}
    named = {(slug, mast) for slug, mast, _ in read}
    wanted = {
        (row.kind.slug, row.mast, row.position)
        for row in rows
        if row.required and not (row.kind.named_position and (row.kind.slug, row.mast) in named)
    }
    for mast in boom_height_alternatives(rig):
        lacking = [{key for key in keys if key not in read} for _, keys in mast.methods]
        fewest = min(len(keys) for keys in lacking)
        wanted |= next(keys for keys in lacking if len(keys) == fewest)
    wanted -= read | absent | _by_the_sheave(read)
    return [row for row in rows if (row.kind.slug, row.mast, row.position) in wanted]


def _by_the_sheave(read: set[Place]) -> set[Place]:
    """A luff read to the sheave is a luff read."""
    return {("luff_between_bands", mast, "") for slug, mast, _ in read if slug == "luff_to_sheave"}


def _next(rows: list[ReadingRow], missing: list[ReadingRow], surer: NextReadings | None) -> JSON:
    if missing:
        return {"row": missing[0].key, "sentence": f"Next: {_spoken(missing[0])}."}
    if surer is None:
        return {"row": None, "sentence": "Everything is read."}
    ref = surer.options[0].readings[0]
    keys: Mapping[Place, str] = {(row.kind.slug, row.mast, row.position): row.key for row in rows}
    return {"row": keys.get((ref.reading, ref.mast, ref.position)), "sentence": surer.sentence}


def _spoken(row: ReadingRow) -> str:
    name = place_words(row.kind, row.mast, row.position)
    return f"{name} ({row.kind.symbol})" if row.kind.symbol else name
