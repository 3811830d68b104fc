"""Two small charts as SVG text, after the same rules as the rig drawing: ink only, presentation attributes only.

`draw_carried`: what carried a change, as bars that add up. `draw_history`: one dimension over the visits, with its
uncertainty bars and the band within which a change is measuring noise. Each has a title and says itself in words.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence
from html import escape
from itertools import pairwise
from typing import NamedTuple

from computations import typesetting
from computations.drawing_labels import text_width
from computations.drawing_parts import line

FONTS = "'Segoe UI', Roboto, 'Liberation Sans', Arial, 'DejaVu Sans', sans-serif"
SIZE = 12.0
ROW = 24.0
BAR = 12.0
PAD = 8.0
STACK = 16.0  # a label over its bar
FIGURES = 84.0  # room for the figures at the right end
LEAST_BARS = 140.0  # and for the bars beside their labels
BOLD = 1.12  # how much wider bold letters are
LEAST_SPAN = 1e-6  # less than any unit is printed to: drawn as nothing
IN_ALL = "Change in all"
WIDTH = 560.0


class Part(NamedTuple):
    """One bar: what carried it, and how much, in the dimension's unit."""

    label: str
    amount: float


class Point(NamedTuple):
    """One visit: its day, the figure and its expanded uncertainty."""

    day: dt.date
    value: float
    expanded: float | None


class _Bars(NamedTuple):
    """Where the bars stand: from `left`, zero at `zero`, `scale` to the unit; labels over them or before them."""

    left: float
    zero: float
    scale: float
    width: float
    stacked: bool

    @property
    def row(self) -> float:
        return ROW + (STACK if self.stacked else 0.0)

    def x(self, value: float) -> float:
        return self.zero + value * self.scale


def draw_carried(
    parts: Sequence[Part],
    *,
    unit: str = "mm",
    expanded: float | None = None,
    title: str = "What carried the change",
    id_prefix: str = "carried",
    width: float = WIDTH,
) -> str:
    """Each part's bar starts where the one before it ended; the last row is their sum.

    `expanded` is U of the change: its band about zero shows what would be measuring noise. Figures that are not finite
    raise ValueError.
    """
    total = math.fsum(part.amount for part in parts)
    if not math.isfinite(total):
        raise ValueError("A change can only be drawn from finite parts.")
    band = abs(expanded) if expanded is not None and math.isfinite(expanded) else 0.0
    starts = [math.fsum(part.amount for part in parts[:number]) for number in range(len(parts))]
    rows = [*parts, Part(IN_ALL, total)]
    bars = _bars(rows, [*starts, total, band, -band, 0.0], width)
    bottom = PAD + bars.row * len(rows) + 6
    body: list[str] = []
    for number in range(len(rows)):
        top = PAD + bars.row * number + (bars.row - ROW) + (6 if number == len(parts) else 0)
        if band:
            body.append(_shade(bars.x(-band), top, 2 * band * bars.scale, ROW))
        body.append(line((bars.zero, top, bars.zero, top + ROW), 0.8))
    decimals = typesetting.decimals_for(expanded, unit)
    for number, (part, start) in enumerate(zip(rows, [*starts, 0.0], strict=True)):
        last = number == len(parts)
        top = PAD + bars.row * number + (6 if last else 0)
        figure = typesetting.number(part.amount, decimals, signed=True)
        body.append(_bar(bars, part, start, top, figure, bold=last))
        if not last:
            at, foot = bars.x(start + part.amount), top + bars.row
            body.append(line((at, foot - 6, at, foot + 6), 0.7, ' stroke-dasharray="1.5 1.5"'))
    words = "; ".join(f"{part.label} {typesetting.number(part.amount, decimals, signed=True)}" for part in rows)
    desc = f"{words} {typesetting.unit_word(unit)}".rstrip() + "."
    if band:
        desc += f" Within ±{typesetting.number(band, decimals)} it would be measuring noise (shaded)."
    return _wrap(body, (width, bottom + PAD), (title, desc), id_prefix)


def _bars(rows: Sequence[Part], reached: Sequence[float], width: float) -> _Bars:
    """Labels stand before the bars where that leaves the bars enough room, else over them."""
    labels = max(text_width(part.label, SIZE) * (BOLD if part.label == IN_ALL else 1.0) for part in rows)
    stacked = width - labels - FIGURES - 2 * PAD < LEAST_BARS
    left = PAD if stacked else PAD + labels + 12
    low, high = min(reached), max(reached)
    span = high - low if high - low > LEAST_SPAN else 1.0
    scale = (width - left - FIGURES - PAD) / span
    return _Bars(left, left - low * scale, scale, width, stacked)


def _bar(bars: _Bars, part: Part, start: float, top: float, figure: str, *, bold: bool) -> str:
    """Gains are filled and losses hollow, so that the direction shows in black and white too."""
    words_at = top + (15 if bars.stacked else ROW / 2 + 4)
    middle = top + (STACK if bars.stacked else 0) + ROW / 2
    ends = bars.x(start), bars.x(start + part.amount)
    fill = 'fill="currentColor" fill-opacity="0.75"' if part.amount >= 0 else 'fill="none"'
    weight = ' font-weight="600"' if bold else ""
    label = shortened(part.label, bars.width - 2 * PAD)
    return (
        f'<text x="{PAD}" y="{words_at:.1f}" font-size="{SIZE}" fill="currentColor"{weight}>{escape(label)}</text>'
        f'<rect x="{min(ends):.1f}" y="{middle - BAR / 2:.1f}" width="{max(abs(ends[1] - ends[0]), 1.0):.1f}" '
        f'height="{BAR}" {fill} stroke="currentColor" stroke-width="{1.6 if bold else 1}"/>'
        f'<text x="{bars.width - PAD:.1f}" y="{middle + 4:.1f}" font-size="{SIZE}" fill="currentColor" '
        f'text-anchor="end"{weight}>{figure}</text>'
    )


def _shade(x: float, y: float, width: float, height: float) -> str:
    return (
        f'<rect x="{x:.1f}" y="{y:.1f}" width="{width:.1f}" height="{height:.1f}" '
        'fill="currentColor" fill-opacity="0.09"/>'
    )


def shortened(text: str, room: float) -> str:
    """The text, cut with an ellipsis where it is longer than its room."""
    if text_width(text, SIZE) <= room:
        return text
    while text and text_width(text + "…", SIZE) > room:
        text = text[:-1]
    return text.rstrip() + "…"


class _Plot(NamedTuple):
    """The field of the history: its edges, and the figures at its lower and upper edge."""

    left: float
    right: float
    top: float
    bottom: float
    low: float
    high: float

    def y(self, value: float) -> float:
        return self.top + (self.high - value) / (self.high - self.low) * (self.bottom - self.top)


def draw_history(
    points: Sequence[Point],
    *,
    unit: str = "mm",
    band: tuple[float, float] | None = None,
    title: str = "Over the visits",
    id_prefix: str = "history",
    width: float = WIDTH,
) -> str:
    """One dimension over the visits, in order of their days, evenly spaced; `band` is shaded as measuring noise."""
    ordered = sorted(points, key=lambda point: point.day)
    if any(not math.isfinite(point.value) for point in ordered):
        raise ValueError("Only finite figures can be drawn.")
    reached = [point.value + sign * (point.expanded or 0.0) for point in ordered for sign in (-1, 1)]
    reached += band or ()
    low, high = min(reached, default=0.0), max(reached, default=0.0)
    margin = 0.1 * (high - low) if high - low > LEAST_SPAN else 1.0
    plot = _Plot(84.0, width - PAD, 16.0, 156.0, low - margin, high + margin)
    body = (
        [_shade(plot.left, plot.y(band[1]), plot.right - plot.left, plot.y(band[0]) - plot.y(band[1]))] if band else []
    )
    body += _levels(plot) if ordered else [_text(width / 2, plot.bottom / 2, "No visit yet.", "middle")]
    step = (plot.right - plot.left) / max(len(ordered), 1)
    # The last day's label keeps inside the right edge, and so needs more room before it.
    every = max(1, math.ceil((78.0 + max(0.0, 32.0 - step / 2)) / step))
    placed = [(plot.left + step * (number + 0.5), point) for number, point in enumerate(ordered)]
    for (here, one), (there, other) in pairwise(placed):
        body.append(line((here, plot.y(one.value), there, plot.y(other.value)), 0.8, ' stroke-opacity="0.6"'))
    for number, (at, point) in enumerate(placed):
        body.append(_visit(at, point, plot))
        if (len(placed) - 1 - number) % every == 0:
            body.append(_text(min(at, plot.right - 32), plot.bottom + 24, point.day.isoformat(), "middle"))
    return _wrap(body, (width, plot.bottom + 34), (title, _history_words(ordered, unit, band)), id_prefix)


def _text(x: float, y: float, words: str, anchor: str) -> str:
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" font-size="{SIZE - 1}" fill="currentColor" text-anchor="{anchor}">'
        f"{escape(words)}</text>"
    )


def _levels(plot: _Plot) -> list[str]:
    """Two to five level lines at round figures (1, 2 or 5 times a power of ten apart)."""
    rough = (plot.high - plot.low) / 4
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(size * power for size in (1, 2, 5, 10) if size * power >= rough)
    decimals = max(0, -math.floor(math.log10(step) + 1e-9))
    body = []
    for number in range(math.ceil(plot.low / step), math.floor(plot.high / step) + 1):
        at = plot.y(number * step)
        body.append(line((plot.left, at, plot.right, at), 0.5, ' stroke-opacity="0.35"'))
        body.append(_text(plot.left - 6, at + 4, typesetting.number(number * step, decimals), "end"))
    return body


def _visit(at: float, point: Point, plot: _Plot) -> str:
    svg = f'<circle cx="{at:.1f}" cy="{plot.y(point.value):.1f}" r="3.2" fill="currentColor"/>'
    if point.expanded:
        ends = plot.y(point.value + point.expanded), plot.y(point.value - point.expanded)
        svg += line((at, ends[0], at, ends[1]), 1.2)
        svg += "".join(line((at - 5, end, at + 5, end), 1.2) for end in ends)
    return svg


def _history_words(points: Sequence[Point], unit: str, band: tuple[float, float] | None) -> str:
    words = []
    for point in points:
        decimals = typesetting.decimals_for(point.expanded, unit)
        figure = typesetting.number(point.value, decimals)
        if point.expanded is not None:
            figure += f" ± {typesetting.number(point.expanded, decimals)}"
        words.append(f"{point.day.isoformat()}: {typesetting.with_unit(figure, unit)}.")
    if band:
        words.append("The shaded band is measuring noise.")
    return " ".join(words) or "No visit yet."


def _wrap(body: Sequence[str], size: tuple[float, float], words: tuple[str, str], prefix: str) -> str:
    (width, height), (title, desc), prefix = size, words, escape(prefix)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="chart" viewBox="0 0 {width:.0f} {height:.0f}" '
        f'width="{width:.0f}" height="{height:.0f}" role="img" aria-labelledby="{prefix}-title {prefix}-desc" '
        f'font-family="{FONTS}"><title id="{prefix}-title">{escape(title)}</title>'
        f'<desc id="{prefix}-desc">{escape(desc)}</desc>{"".join(body)}</svg>'
    )
