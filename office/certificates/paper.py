"""The certificate's page as HTML, from its snapshot only: what stands where, how figures are set, drawing and code."""

from __future__ import annotations

import json
import re
from decimal import Decimal
from functools import lru_cache
from typing import Any

from django.template.loader import render_to_string
from django.utils.safestring import mark_safe

from computations import rounding, typesetting
from computations.catalogue import DIMENSIONS
from computations.drawing import draw_rig, figures_from
from office.certificates import snapshot
from office.certificates.statements import MAST_NAMES
from office.papers import SIZES, UNSEEN, code

__all__ = ["SIZES", "code", "groups", "html_of", "instrument_line", "mast_names", "names_of", "plan", "spars"]

KINDS = {
    "steel_tape": "steel tape", "rule": "rule", "calliper": "calliper", "scale": "scale", "level": "level",
    "plumb_line": "plumb line",
}  # fmt: skip
VIEW_BOX = re.compile(r'viewBox="0 0 ([0-9.]+) ([0-9.]+)"')
FIGURE_SPACE, PUNCTUATION_SPACE = "\N{FIGURE SPACE}", "\N{PUNCTUATION SPACE}"
LENGTH_UNITS = {"mm"}
# Millimetres on the paper: the room the drawing has beside the figures of one mast, and of several. Letter is lower.
PLANS = {("A4", 1): (72, 122), ("A4", 2): (66, 114), ("Letter", 1): (72, 108), ("Letter", 2): (66, 102)}
WIDTHS = {"A4": 210 - 24, "Letter": 215.9 - 24}  # between the margins
# Widths in the drawing's own units; each arranges itself anew, and the one that fills the room best prints largest.
DRAWING_WIDTHS = (340.0, 400.0, 440.0, 480.0, 520.0)


def html_of(document: dict[str, Any], size: str, sealed_code: str = "") -> str:
    """The whole page. `sealed_code`: address and signed statement for the code; only the address without it.

    KeyError where the size is not one of SIZES.
    """
    address, mark, signed = (sealed_code or document["check_at"]).partition("#")
    return render_to_string(
        "certificates/paper.html",
        {
            "c": document,
            "page_size": SIZES[size],
            "masts": [MAST_NAMES.get(name, name) for name in mast_names(document)],
            "groups": groups(document),
            "not_measured": names_of(document["not_measured"]),
            "spars": spars(document),
            "instruments": [instrument_line(one) for one in document["instruments"]],
            **plan(document, size),
            "code": code(*filter(None, (address + mark, signed))),
            "sealed": bool(signed),
            "snapshot_sha256": snapshot.sha256(snapshot.canonical(document)),
        },
    )


def mast_names(document: dict[str, Any]) -> list[str]:
    return [mast["name"] for mast in document["rig"]["description"]["masts"]]


def plan(document: dict[str, Any], size: str) -> dict[str, Any]:
    """The rig to scale, from the figures stated, as large as its room allows; and the room it takes."""
    room = PLANS[size, min(2, len(mast_names(document)))]
    drawn = _drawn(snapshot.canonical(document))
    scale, height, best = max(((*_fit(svg, room), svg) for svg in drawn), key=lambda one: one[0])
    return {
        "drawing": mark_safe(UNSEEN.sub("", best)),  # noqa: S308  (made by us, texts escaped there)
        "plan_width": room[0],
        "plan_height": f"{scale * height:.1f}",
        "figures_width": WIDTHS[size] - room[0] - 5,
    }


@lru_cache(maxsize=1)
def _drawn(text: str) -> list[str]:
    """The rig of a snapshot in each of the widths: the same for every paper of one certificate."""
    document = json.loads(text)
    figures = figures_from(snapshot.results_of(document), snapshot.rig_of(document))
    title = f"Rig plan, certificate {document['number']}"
    return [draw_rig(figures, title=title, width=width) for width in DRAWING_WIDTHS]


def _fit(svg: str, room: tuple[int, int]) -> tuple[float, float]:
    """Millimetres of paper for each unit of the drawing where it fills its room, and its height in units."""
    width, height = (float(text) for text in VIEW_BOX.findall(svg)[0])
    return min(room[0] / width, room[1] / height), height


# ---- The table of figures: one row per dimension, one column per mast ----


def groups(document: dict[str, Any]) -> list[dict[str, Any]]:
    """Lengths and weights as measured, then what is worked out of them; figures padded to line up in each."""
    masts = mast_names(document)
    cells = {(row["slug"], row["mast"]): row for row in document["dimensions"]}
    slugs = list(dict.fromkeys(row["slug"] for row in document["dimensions"]))
    lengths = [slug for slug in slugs if _unit(document, slug) in LENGTH_UNITS]
    others = [slug for slug in slugs if slug not in lengths]
    return [
        {"title": title, "rows": _rows(chosen, masts, cells)}
        for title, chosen in (("Lengths", lengths), ("Weight, areas and ratios", others))
        if chosen
    ]


def _unit(document: dict[str, Any], slug: str) -> str:
    return next(str(row["unit"]) for row in document["dimensions"] if row["slug"] == slug)


def _rows(slugs: list[str], masts: list[str], cells: dict[tuple[str, str], dict[str, Any]]) -> list[dict[str, Any]]:
    chosen = [cells[slug, mast] for slug in slugs for mast in masts if (slug, mast) in cells]
    after_point = max((_decimals(row["value"]) for row in chosen), default=0)
    rows = []
    for slug in slugs:
        given = [cells.get((slug, mast)) for mast in masts]
        first = next(one for one in given if one)
        rows.append(
            {
                "name": first["name"],
                "symbol": first["symbol"],
                "unit": typesetting.unit_word(first["unit"]),
                "figures": [figure(one, after_point) if one else ("", "") for one in given],
            }
        )
    return rows


def figure(row: dict[str, Any], after_point: int) -> tuple[str, str]:
    """15 286.4 and ± 3.9; the value padded behind its decimals, so that a column lines up on the point."""
    value = rounding.written(Decimal(row["value"])) + _padding(row["value"], after_point)
    expanded = row["expanded_uncertainty"]
    return value, "" if expanded is None else f"± {rounding.written(Decimal(expanded))}"


def _decimals(text: str) -> int:
    return len(text.partition(".")[2])


def _padding(text: str, after_point: int) -> str:
    missing = after_point - _decimals(text)
    return (PUNCTUATION_SPACE if "." not in text and after_point else "") + FIGURE_SPACE * missing


def names_of(rows: list[dict[str, Any]]) -> str:
    """Plain names with their symbols, each once, in the catalogue's order."""
    order = list(DIMENSIONS)
    slugs = sorted({row["slug"] for row in rows}, key=lambda slug: order.index(slug) if slug in order else len(order))
    named = {row["slug"]: row for row in rows}
    return ", ".join(
        f"{named[slug]['name'].lower()}{' ' + named[slug]['symbol'] if named[slug]['symbol'] else ''}" for slug in slugs
    )


# ---- Spars and instruments ----


def spars(document: dict[str, Any]) -> list[tuple[str, str]]:
    """Each spar's identification: (what it is, its mark)."""
    rig = document["rig"]["description"]
    several = len(rig["masts"]) > 1
    found: list[tuple[str, str]] = []
    for mast in rig["masts"]:
        name = MAST_NAMES.get(mast["name"], mast["name"]) if several else "Mast"
        spar, boom = mast["mast_identification"] or "no mark", mast["boom_identification"] or "no mark"
        found += [(name, f"{spar}; boom {boom}")] if several else [(name, spar), ("Boom", boom)]
    if rig["pole"] or rig["pole_identification"]:
        found.append(("Pole", rig["pole_identification"] or "no mark"))
    return found


def instrument_line(one: dict[str, Any]) -> dict[str, str]:
    """An instrument in words: what it is, and under which calibration."""
    what = [KINDS.get(one["kind"], one["kind"])]
    if one["accuracy_class"]:
        what.append(f"class {one['accuracy_class']}")
    maker = " ".join(part for part in (one["maker"], one["serial_number"]) if part)
    calibration = one["calibration"]
    if calibration is None:
        state = "no calibration on record"
    else:
        source = ", ".join(part for part in (calibration["laboratory"], calibration["reference"]) if part)
        state = f"calibrated {calibration['calibrated_on']}, due {calibration['due_on']}"
        state += f" ({source})" if source else ""
    return {"identifier": one["identifier"], "what": ", ".join([*what, *([maker] if maker else [])]), "state": state}
