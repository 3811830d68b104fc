"""Mast sections beside the rig at a larger scale: the upper one within the lower one, with their figures."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from html import escape

from computations.catalogue import DIMENSIONS
from computations.drawing_dimensions import NOT_READ, figure_text
from computations.drawing_geometry import RigFigures
from computations.drawing_labels import Box
from computations.drawing_parts import DOTTED, line

COLUMN = 172.0
OVAL = 64.0  # width of the largest section
ROW = 15.0
SECTIONS = (
    ("section_fore_aft_lower", "section_transverse_lower"),
    ("section_fore_aft_upper", "section_transverse_upper"),
)
SMALL_PARTS = ("boom_depth", "foil")


@dataclass(frozen=True, slots=True)
class Row:
    """One line of figures in the block; its group lights with its dimension."""

    slug: str
    mast: str
    box: Box
    svg: str


@dataclass(frozen=True, slots=True)
class Block:
    """The sections of one mast: loose shapes and headings, rows of figures, and the height it takes."""

    svg: str
    rows: tuple[Row, ...]
    boxes: tuple[Box, ...]
    height: float


def largest(figures: RigFigures) -> float:
    """The greatest section of any mast in mm, so that all blocks share one scale."""
    sizes = [
        figure.value
        for (slug, _), figure in figures.figures.items()
        if slug.startswith("section_") and figure.value > 0
    ]
    return max(sizes, default=0.0)


def wants_sections(figures: RigFigures) -> bool:
    shown = {slug for pair in SECTIONS for slug in pair} | set(SMALL_PARTS)
    return any(slug in shown for slug, _ in (*figures.figures, *figures.missing))


def block(figures: RigFigures, mast: str, left: float, top: float, scale: float) -> Block:
    """One mast's block, COLUMN wide, its upper left corner given."""
    y = top + 12
    several = len(figures.rig.masts) > 1
    title = f"Sections, {mast} mast" if several else "Mast sections"
    svg = [text(title, left, y, size=11.5, more=' font-style="italic" font-family="Palatino, Georgia, serif"')]
    boxes = [(left, y - 11, left + COLUMN, y + 3)]
    middle = y + 10 + 0.5 * _tallest(figures, scale)
    ovals, axes = _ovals(figures, mast, left + 4, middle, scale)
    svg.append(ovals)
    y = middle + 0.5 * _tallest(figures, scale) + 6
    rows: list[Row] = []
    for pair in SECTIONS:
        _, _, where = DIMENSIONS[pair[0]].name.partition(" section at the ")
        y += ROW
        svg.append(text(where.capitalize(), left, y, size=10.5, more=' fill-opacity="0.8"'))
        boxes.append((left, y - 10, left + COLUMN, y + 3))
        for slug in pair:
            y += ROW
            name = DIMENSIONS[slug].name.partition(" section at the ")[0]
            rows.append(_row(figures, (slug, mast), name, (left + 8, y), axes[slug]))
    for slug in SMALL_PARTS:
        if (slug, mast) in figures.figures or ((slug, mast) in figures.missing and slug == "boom_depth"):
            y += ROW
            rows.append(_row(figures, (slug, mast), DIMENSIONS[slug].name, (left, y)))
    return Block("".join(svg), tuple(rows), tuple(boxes), y + 8 - top)


def _tallest(figures: RigFigures, scale: float) -> float:
    """Height of the tallest oval of any mast, so that blocks side by side keep their lines level."""
    across = {pair[1] for pair in SECTIONS}
    return max(
        (figure.value * scale for (slug, _), figure in figures.figures.items() if slug in across),
        default=0.6 * OVAL,
    )


def _ovals(figures: RigFigures, mast: str, left: float, middle: float, scale: float) -> tuple[str, dict[str, str]]:
    """Both sections with their front faces together, as they stand on the mast; bow to the left."""
    svg: list[str] = []
    axes: dict[str, str] = {}
    usual = (OVAL, 0.6 * OVAL)
    for number, pair in enumerate(SECTIONS):
        sizes = [figures.get(slug, mast) for slug in pair]
        read = all(figure is not None and figure.value > 0 for figure in sizes)
        long, across = (
            figure.value * scale if figure is not None and figure.value > 0 else standard * (1 - 0.25 * number)
            for figure, standard in zip(sizes, usual, strict=True)
        )
        centre = left + long / 2
        fill = f'fill="currentColor" fill-opacity="{0.08 + 0.1 * number:.2f}"' if read else 'fill="none"'
        svg.append(
            f'<ellipse cx="{centre:.1f}" cy="{middle:.1f}" rx="{long / 2:.1f}" ry="{across / 2:.1f}" {fill} '
            f'stroke="currentColor" stroke-width="1.1"{"" if read else DOTTED}/>'
        )
        axes[pair[0]] = line((left, middle, left + long, middle), 0.6)
        axes[pair[1]] = line((centre, middle - across / 2, centre, middle + across / 2), 0.6)
    return "".join(svg), axes


def _row(figures: RigFigures, key: tuple[str, str], name: str, at: tuple[float, float], axis: str = "") -> Row:
    (slug, mast), (left, y) = key, at
    right = left + COLUMN - (8 if slug.startswith("section") else 0)
    figure = figure_text(figures, slug, mast)
    symbol = DIMENSIONS[slug].symbol
    more = ' font-style="italic"' if figure == NOT_READ else ""
    size = 10.5 if figure == NOT_READ else 12.5
    svg = (
        axis
        + f'<text x="{left:.1f}" y="{y:.1f}" font-size="11" fill="currentColor">{escape(name)}'
        + (f'<tspan font-size="9.5"> {symbol}</tspan>' if symbol else "")
        + "</text>"
        + text(figure, right, y, size=size, more=' text-anchor="end"' + more)
    )
    return Row(slug, mast, (left, y - 11, right, y + 3), svg)


def text(words: str, x: float, y: float, *, size: float, more: str = "") -> str:
    return f'<text x="{x:.1f}" y="{y:.1f}" font-size="{size}" fill="currentColor"{more}>{escape(words)}</text>'


def masts_from_bow(figures: RigFigures) -> Iterator[str]:
    order = ("fore", "main", "mizzen")
    yield from sorted((mast.name for mast in figures.rig.masts), key=order.index)
