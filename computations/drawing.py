"""The rig plan, to scale from the figures, as one SVG text: the same for page, PDF and file.

`draw_rig(figures_from(dimensions, rig))`. What was read is inked; what is missing is dotted at a usual proportion and
says so; a previous visit can lie beneath as a lighter line. Each dimension is a group with data-dimension and
data-mast, so that a row of a table can light it. Presentation attributes only: no style attribute, nothing fetched.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, field
from html import escape

from computations import drawing_dimensions as dimensions
from computations import drawing_labels as labels
from computations import drawing_layout as layouts
from computations import drawing_parts as parts
from computations import drawing_sections as sections
from computations.drawing_dimensions import NOT_READ, Dimension
from computations.drawing_geometry import Plan, RigFigures, figures_from, plan_of
from computations.drawing_labels import Box, Label, Placer, Rows, Spot
from computations.drawing_layout import PAD, Layout
from computations.drawing_unlabelled import unlabelled
from computations.drawing_words import description

__all__ = ["RigFigures", "draw_file", "draw_for_page", "draw_rig", "figures_from", "text_boxes"]

WIDTH = 560.0
LEAST_WIDTH = 340.0
NARROW = 360.0  # on a phone
LONGEST_SCALE = 110.0
GRID_GAP = 14.0
KEY_WORDS = 260.0  # room kept for the words beside the scale
FONTS = "'Segoe UI', Roboto, 'Liberation Sans', Arial, 'DejaVu Sans', sans-serif"
HIT = ' class="rig-hit" stroke-opacity="0" pointer-events="stroke"'
FILE_COLOURS = ("#15222d", "#ffffff")  # ink, paper: black and white print alike
ITALIC = ' font-style="italic"'
SCALES_M = ((50, 5), (20, 4), (10, 10), (5, 5), (2, 2), (1, 10), (0.5, 5), (0.2, 2), (0, 1))  # length, divisions
Key = tuple[str, str]


@dataclass(slots=True)
class _Sheet:
    """The drawing while it is made: what is on it, and which boxes hold text."""

    figures: RigFigures
    plan: Plan
    layout: Layout
    width: float
    prefix: str
    highlight: Collection[Key]
    pointed_at: bool = True  # false in a file: nothing there lights what is only pointed at
    body: list[str] = field(default_factory=list)
    boxes: list[Box] = field(default_factory=list)
    height: float = 0.0

    def group(self, slug: str, mast: str, content: str, *, silent: bool = False) -> None:
        if silent and not self.pointed_at:
            return
        lit = (slug, mast) in self.highlight
        name = "rig-dimension" + (" rig-silent" if silent else "") + (" is-lit" if lit else "")
        hidden = ' opacity="0" pointer-events="none"' if silent and not lit else ""
        self.body.append(
            f'<g class="{name}" id="{self.prefix}-{slug}-{mast}" data-dimension="{slug}" data-mast="{mast}"{hidden}>'
            f"{content}</g>"
        )

    def dimension(self, one: Dimension, form: Label, spot: Spot) -> None:
        self.boxes.append(spot.box(form))
        lit = (one.slug, one.mast) in self.highlight
        self.group(one.slug, one.mast, _lines(one, lit=lit, pointed_at=self.pointed_at) + _words(form, spot))


def draw_rig(
    figures: RigFigures,
    *,
    previous: RigFigures | None = None,
    title: str = "Rig plan",
    id_prefix: str = "rig",
    width: float = WIDTH,
    highlight: Collection[Key] = (),
) -> str:
    """SVG text of the rig. `width` is the viewBox's; about the pixels it will have keeps the words readable.

    `highlight` names dimensions as (slug, mast) to be lit without any script.
    """
    sheet = _draw(figures, previous, id_prefix, width, highlight)
    return _wrap(sheet, title)


def draw_for_page(
    figures: RigFigures, *, previous: RigFigures | None = None, title: str = "Rig plan", id_prefix: str = "rig"
) -> str:
    """HTML with the rig once for a column and once for a phone: the style sheet shows the one that fits."""
    wide = draw_rig(figures, previous=previous, title=title, id_prefix=id_prefix)
    narrow = draw_rig(figures, previous=previous, title=title, id_prefix=f"{id_prefix}-narrow", width=NARROW)
    return f'<div class="rig-for-wide">{wide}</div><div class="rig-for-narrow">{narrow}</div>'


def draw_file(figures: RigFigures, *, previous: RigFigures | None = None, title: str = "Rig plan") -> str:
    """The same drawing as an SVG file of its own: ink on paper in its own colours, without what is only pointed at."""
    sheet = _draw(figures, previous, "rig", WIDTH, (), pointed_at=False)
    return '<?xml version="1.0" encoding="UTF-8"?>\n' + _wrap(sheet, title, colours=FILE_COLOURS)


def text_boxes(
    figures: RigFigures, *, previous: RigFigures | None = None, width: float = WIDTH
) -> tuple[list[Box], Box]:
    """Every box that holds text, and the viewBox: what the promise "nothing overlaps" is tested on."""
    sheet = _draw(figures, previous, "rig", width, ())
    return sheet.boxes, (0.0, 0.0, sheet.width, sheet.height)


def _draw(
    figures: RigFigures,
    previous: RigFigures | None,
    prefix: str,
    width: float,
    highlight: Collection[Key],
    *,
    pointed_at: bool = True,
) -> _Sheet:
    plan = plan_of(figures)
    before = plan_of(previous) if previous is not None else None
    width = max(width, LEAST_WIDTH)
    layout = layouts.fit(width, figures, (plan, before) if before else (plan,))
    sheet = _Sheet(figures, plan, layout, width, escape(prefix), highlight, pointed_at)
    view = layout.view
    sheet.body.append(parts.hull(view, plan))
    if before is not None:
        sheet.body.append(f'<g class="rig-previous" opacity="0.45">{parts.rig(view, before)}</g>')
    sheet.body.append(f'<g class="rig-spars">{parts.rig(view, plan, figures.halyards)}</g>')
    for slug, mast, content in unlabelled(figures, plan, view):
        sheet.group(slug, mast, content, silent=True)
    sheet.height = _rows(sheet, _around(sheet))
    _sections(sheet)
    _key(sheet, with_previous=before is not None)
    return sheet


def _around(sheet: _Sheet) -> list[Dimension]:
    """Dimension lines around the rig; returns those whose label found no room."""
    figures, plan, view = sheet.figures, sheet.plan, sheet.layout.view
    drawn = [*dimensions.heights(figures, plan, view)]
    for mast in plan.masts:
        drawn += dimensions.of_mast(figures, view, mast)
    drawn += [one for one in dimensions.levels(figures, plan, view) if not one.in_rows]
    placer = Placer((PAD / 2, 2.0, sheet.layout.right - 2, view.y(-plan.freeboard) - 1))
    placer.taken += sheet.layout.corner
    placer.strokes = layouts.obstacles(plan, view)
    for one in drawn:
        placer.strokes += [one.stroke, *one.extensions]
    left_over = []
    for one in sorted(drawn, key=lambda one: one.length):
        placed = placer.place(one.label, one.spots, one.most_crossings)
        if placed is None:
            left_over.append(one)
        else:
            sheet.dimension(one, *placed)
    return left_over


def _rows(sheet: _Sheet, left_over: list[Dimension]) -> float:
    """Level dimensions below the hull, then the labels that found no room above. Returns the y where they end."""
    plan, view = sheet.plan, sheet.layout.view
    top = view.y(-plan.freeboard) + 12
    level = [one for one in dimensions.levels(sheet.figures, plan, view) if one.in_rows]
    level.sort(key=lambda one: one.slug != "tack_reach")  # on top, where its thin lines cross no other's words
    rows = Rows(PAD / 2, sheet.layout.right - 2)
    found = []
    for number, one in enumerate(level):
        rows.uprights = [x for later in level[number:] for x in (later.stroke[0], later.stroke[2])]
        found.append((one, rows.add(one.stroke[0], one.stroke[2], one.label)))
    under = [one for one in left_over if one.slug == "boom_above_sheer"]
    found += [(one, rows.add(one.stroke[0], one.stroke[2], one.label)) for one in under]
    free = len(rows.rows)
    found += [
        (one, rows.add_words(dimensions.with_mast(sheet.figures, one), free)) for one in left_over if one not in under
    ]
    for one, (number, form, edge) in found:
        y = top + rows.top(number)
        start, _, end, _ = one.stroke
        if one in level:
            one.stroke = (start, y, end, y)
            one.extensions = [(x, view.top + 2, x, y + dimensions.TICK) for x in (start, end)]
        elif one in under:
            one.extensions.append((start, one.stroke[3], start, y + dimensions.TICK))
        sheet.dimension(one, form, Spot(edge, y + 3))
    return top + rows.top(len(rows.rows))


def _lines(one: Dimension, *, lit: bool, pointed_at: bool) -> str:
    """Thin lines out to the dimension line, the line itself with its ticks, and a broad unseen one to point at."""
    thin = "".join(parts.line(stroke, 0.5, ' stroke-opacity="0.6"') for stroke in one.extensions)
    ends = "".join(parts.line(stroke, 1.1) for stroke in dimensions.ticks(one.stroke))
    broad = parts.line(one.stroke, 12, HIT) if pointed_at else ""
    width = 2.6 if lit else 0.9 if one.read else 1.5
    return thin + parts.line(one.stroke, width, read=one.read) + ends + broad


def _words(form: Label, spot: Spot) -> str:
    anchor = "" if spot.anchor == "start" else f' text-anchor="{spot.anchor}"'
    symbol = f'<tspan font-size="{labels.SYMBOL_SIZE}"> {form.symbol}</tspan>' if form.symbol else ""
    size, slant = (labels.NAME_SIZE, ITALIC) if form.figure == NOT_READ else (labels.FIGURE_SIZE, "")
    lines = [(name, labels.NAME_SIZE, ' fill-opacity="0.85"', "") for name in form.names]
    lines[-1] = (*lines[-1][:3], symbol)
    lines.append((form.figure, size, slant, ""))
    return "".join(
        f'<text x="{spot.x:.1f}" y="{spot.y + 11 + labels.LINE * number:.1f}" '
        f'font-size="{size}" fill="currentColor"{anchor}{more}>{escape(words)}{after}</text>'
        for number, (words, size, more, after) in enumerate(lines)
    )


def _sections(sheet: _Sheet) -> None:
    """The sections' blocks: in a column aft of or over the rig, or in a grid below it."""
    place = sheet.layout.place
    if place == "none":
        return
    if place == "below":
        blocks = _grid(sheet)
    else:
        left = sheet.width - sections.COLUMN - PAD
        blocks = layouts.blocks(sheet.figures, left, PAD)
        bottom = PAD + sum(block.height + PAD for block in blocks)
        sheet.height = max(sheet.height, bottom)
    for block in blocks:
        sheet.body.append(block.svg)
        sheet.boxes += [*block.boxes, *(row.box for row in block.rows)]
        for row in block.rows:
            sheet.group(row.slug, row.mast, row.svg)


def _grid(sheet: _Sheet) -> list[sections.Block]:
    scale = sections.OVAL / (sections.largest(sheet.figures) or 200.0)
    x, y = PAD, sheet.height + 4
    blocks: list[sections.Block] = []
    for mast in sections.masts_from_bow(sheet.figures):
        if x + sections.COLUMN > sheet.width:
            x, y = PAD, sheet.height + 4
        block = sections.block(sheet.figures, mast, x, y, scale)
        blocks.append(block)
        x += sections.COLUMN + GRID_GAP
        sheet.height = max(sheet.height, y + block.height)
    return blocks


def _key(sheet: _Sheet, *, with_previous: bool) -> None:
    """A piece of tape for the scale, and how to read the lines."""
    scale = sheet.layout.view.scale * 1000
    longest = min(LONGEST_SCALE, sheet.width - KEY_WORDS)
    metres, parted = next((size, parted) for size, parted in SCALES_M if size * scale <= longest)
    y = sheet.height + 16
    x = PAD + metres * scale
    words = "Lengths in mm, to scale; hull schematic."
    if metres:
        marks = [parts.line((PAD, y, x, y), 1.2)]
        for number in range(parted + 1):
            at = PAD + number * metres * scale / parted
            marks.append(parts.line((at, y - (8 if number in (0, parted) else 5), at, y), 0.9))
        sheet.body.append("".join(marks))
        x += PAD
        words = f"{metres} m. {words}"
    second = "Dotted: not read." + (" Lighter line: previous visit." if with_previous else "")
    for text in (words, second):
        sheet.body.append(sections.text(text, x, y, size=10, more=' fill-opacity="0.85"'))
        sheet.boxes.append((x, y - 9, x + labels.text_width(text, 10), y + 3))
        y += 14
    sheet.height = y - 4


def _wrap(sheet: _Sheet, title: str, colours: tuple[str, str] | None = None) -> str:
    width, height, prefix = sheet.width, sheet.height, sheet.prefix
    ink, paper = "", ""
    if colours is not None:
        ink = f' color="{colours[0]}"'
        paper = f'<rect width="{width:.0f}" height="{height:.0f}" fill="{colours[1]}"/>'
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="rig" viewBox="0 0 {width:.0f} {height:.0f}" '
        f'width="{width:.0f}" height="{height:.0f}" role="img" '
        f'aria-labelledby="{prefix}-title {prefix}-desc" font-family="{FONTS}"{ink}>'
        f'<title id="{prefix}-title">{escape(title)}</title>'
        f'<desc id="{prefix}-desc">{escape(description(sheet.figures))}</desc>{paper}' + "".join(sheet.body) + "</svg>"
    )
