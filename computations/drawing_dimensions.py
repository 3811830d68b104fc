"""Dimension lines of a rig drawing: which ones stand where, and where their labels may stand."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field, replace
from functools import partial

from computations import drawing_labels as labels
from computations import drawing_parts as parts
from computations import typesetting
from computations.catalogue import DIMENSIONS
from computations.drawing_geometry import Length, MastPlan, Plan, RigFigures
from computations.drawing_labels import Label, Spot, Stroke

NOT_READ = "not read"
TICK = 4.0
LUFF = (0.5, 0.58, 0.42, 0.66, 0.34, 0.74, 0.82, 0.26, 0.18, 0.1)


def _nowhere(form: Label) -> Iterable[Spot]:
    return ()


@dataclass(slots=True)
class Dimension:
    """One dimension to be drawn: its line with a tick at each end, thin lines out to it, and places for its label."""

    slug: str
    mast: str
    stroke: Stroke
    read: bool
    label: Label
    extensions: list[Stroke] = field(default_factory=list)
    spots: Callable[[Label], Iterable[Spot]] = _nowhere
    most_crossings: int = 1  # strokes its label may hide before it goes elsewhere
    in_rows: bool = False  # a level dimension below the hull

    @property
    def length(self) -> float:
        x1, y1, x2, y2 = self.stroke
        return abs(x2 - x1) + abs(y2 - y1)


def label_of(figures: RigFigures, slug: str, mast: str) -> Label:
    """The catalogue's plain name, its symbol, and the figure."""
    kind = DIMENSIONS[slug]
    return Label((kind.name,), kind.symbol, figure_text(figures, slug, mast))


def with_mast(figures: RigFigures, one: Dimension) -> Label:
    """The label where it does not stand at its mast: it names the mast, where there are several."""
    label = one.label
    if DIMENSIONS[one.slug].per == "mast" and len(figures.rig.masts) > 1:
        return replace(label, names=(f"{label.names[0]}, {one.mast}",))
    return label


def figure_text(figures: RigFigures, slug: str, mast: str) -> str:
    """The figure to a tenth at most: the drawing shows the rig, the table beside it says how sure each figure is."""
    figure = figures.get(slug, mast)
    if figure is None:
        return NOT_READ
    decimals = min(1, typesetting.decimals_for(figure.expanded, figure.unit, DIMENSIONS[slug].decimals))
    text = typesetting.number(figure.value, decimals)
    return text if figure.unit == "mm" else typesetting.with_unit(text, figure.unit)


def ticks(stroke: Stroke) -> list[Stroke]:
    x1, y1, x2, y2 = stroke
    if y1 == y2:
        return [(x, y1 - TICK, x, y1 + TICK) for x in (x1, x2)]
    return [(x1 - TICK, y, x1 + TICK, y) for y in (y1, y2)]


def upright(figures: RigFigures, slug: str, mast: str, stroke: Stroke, *, read: bool) -> Dimension:
    return Dimension(slug, mast, stroke, read, label_of(figures, slug, mast))


def heights(figures: RigFigures, plan: Plan, view: parts.View) -> Iterator[Dimension]:
    """IG and ISP stand ahead of everything, so that the foretriangle stays clear."""
    forward = plan.masts[0].name
    lane = view.x(plan.foremost) - 14
    wanted: list[tuple[str, Length]] = [("forestay_height", plan.forestay)]
    if plan.hoist is not None:
        wanted.append(("spinnaker_hoist", plan.hoist))
    for number, (slug, length) in enumerate(wanted):
        x, top = lane - 13 * number, view.y(length.mm)
        one = upright(figures, slug, forward, (x, top, x, view.top), read=length.read)
        one.extensions = [(x + TICK, top, view.left, top), (x + TICK, view.top, view.left, view.top)]
        one.spots = partial(_shelf, x, top, view.top, over=bool(number))
        yield one


def _shelf(x: float, top: float, bottom: float, form: Label, *, over: bool) -> Iterator[Spot]:
    """On the thin line out from the mast (or just under it), then down along the dimension line."""
    yield Spot(x, top - form.height - 1) if over else Spot(x + 6, top + 2)
    fractions = (0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9)
    yield from labels.beside_upright((x, top, bottom), ("right", "left"), fractions, form)


def of_mast(figures: RigFigures, view: parts.View, mast: MastPlan) -> Iterator[Dimension]:
    """Luff and boom height in one chain aft of the mast, foot over the boom, taper and balance further aft."""
    aft_face = view.x(mast.x - mast.depth_lower.mm)
    lane = aft_face + 9
    lower, upper, sheer = view.y(mast.lower_band), view.y(mast.upper_band), view.y(mast.sheer)

    luff = upright(figures, "luff", mast.name, (lane, upper, lane, lower), read=mast.luff.read)
    luff.extensions = [(aft_face, upper, lane - TICK, upper)]
    luff.spots = partial(labels.beside_upright, (lane, upper, lower), ("right", "left"), LUFF)
    height = upright(figures, "boom_above_sheer", mast.name, (lane, lower, lane, sheer), read=mast.boom_height.read)
    height.extensions = [(aft_face, lower, lane - TICK, lower)]
    height.spots = partial(_under_boom, (lane, lower, sheer))
    height.most_crossings = 0
    foot_end = aft_face + mast.foot.mm * view.scale
    y = lower - 13
    foot = Dimension(
        "foot", mast.name, (aft_face, y, foot_end, y), mast.foot.read, label_of(figures, "foot", mast.name)
    )
    foot.extensions = [(foot_end, lower - 1.5, foot_end, y - TICK)]
    foot.spots = partial(labels.along_level, (y, aft_face + 9, foot_end))
    yield from (height, foot, luff)
    yield from _second_lane(figures, view, mast, lane + 13)


def _under_boom(line: tuple[float, float, float], form: Label) -> Iterator[Spot]:
    """Between boom and deck, else on the topside just below its end."""
    yield from labels.beside_upright(line, ("right",), (0.6, 0.75, 0.5), form)
    if len(form.names) == 1:
        yield Spot(line[0] + 5, line[2] + 1.5)


def _second_lane(figures: RigFigures, view: parts.View, mast: MastPlan, lane: float) -> Iterator[Dimension]:
    """Taper from the upper band down, balance point from the lower band up: only where they were read."""
    lower, upper = view.y(mast.lower_band), view.y(mast.upper_band)
    spans = []
    if mast.taper.read:
        spans.append(("taper_length", upper, view.y(mast.upper_band - mast.taper.mm)))
    if mast.balance is not None:
        spans.append(("balance_height", view.y(mast.lower_band + mast.balance), lower))
    for slug, top, bottom in spans:
        one = upright(figures, slug, mast.name, (lane, top, lane, bottom), read=True)
        inner = bottom if slug == "taper_length" else top
        one.extensions = [(lane - 20, inner, lane - TICK, inner)]
        one.spots = partial(_beside_or_beyond, (lane, top, bottom), downwards=slug == "taper_length")
        yield one


def _beside_or_beyond(line: tuple[float, float, float], form: Label, *, downwards: bool) -> Iterator[Spot]:
    x, top, bottom = line
    yield from labels.beside_upright(line, ("right",), (0.5, 0.35, 0.65, 0.2, 0.8, 0.05, 0.95), form)
    beyond = bottom + 2 if downwards else top - form.height - 2
    yield Spot(x - 6, beyond)
    yield Spot(x - 50, beyond)


def levels(figures: RigFigures, plan: Plan, view: parts.View) -> Iterator[Dimension]:
    """The level dimensions: the pole over itself, all others in rows below the hull."""
    forward = plan.masts[0].name
    if plan.pole is not None:
        y = parts.pole_height(view, plan) - 8
        end = view.x(plan.pole.mm)
        one = Dimension(
            "pole_length", forward, (end, y, view.left, y), plan.pole.read, label_of(figures, "pole_length", forward)
        )
        one.spots = partial(labels.along_level, (y, end, view.left - 10))
        yield one
    yield _row(figures, "foretriangle_base", forward, view, (plan.base.mm, 0.0), read=plan.base.read)
    yield _row(figures, "forestay_to_bow", forward, view, (plan.bow, plan.base.mm), read=plan.bow_gap.read)
    if len(plan.masts) > 1:
        after = plan.masts[1]
        yield _row(figures, "mast_separation", forward, view, (0.0, after.x), read=after.separation_read)
    if plan.tack is not None:
        yield _row(figures, "tack_reach", forward, view, (plan.tack.mm, 0.0), read=plan.tack.read)


def _row(
    figures: RigFigures, slug: str, mast: str, view: parts.View, ends: tuple[float, float], *, read: bool
) -> Dimension:
    start, end = view.x(ends[0]), view.x(ends[1])
    return Dimension(slug, mast, (start, 0.0, end, 0.0), read, label_of(figures, slug, mast), in_rows=True)
