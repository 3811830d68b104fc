"""How the rig and its sections share the sheet: one scale, chosen so that the rig is as large as the room allows."""

from __future__ import annotations

from dataclasses import dataclass

from computations import drawing_labels as labels
from computations import drawing_sections as sections
from computations.drawing_geometry import Plan, RigFigures
from computations.drawing_labels import Box, Stroke
from computations.drawing_parts import View

PAD = 8.0
TOP = 36.0  # room for a label over the highest point
GUTTER = 40.0  # room for the upright dimension lines ahead of the rig
GAP = 16.0
LEAST_FOR_A_COLUMN = 480.0


@dataclass(frozen=True, slots=True)
class Layout:
    """The view, the right edge of the rig's room, and where the sections go.

    `place` is corner (over the after part of the hull, where the stays leave room), beside, below or none.
    """

    view: View
    right: float
    place: str
    corner: tuple[Box, ...] = ()


def fit(width: float, figures: RigFigures, plans: tuple[Plan, ...]) -> Layout:
    """`plans`: the rig and, where it lies beneath, the previous one."""
    below = _view(width, 1.08 * width, plans)
    if not sections.wants_sections(figures):
        return Layout(below, width, "none")
    if width < LEAST_FOR_A_COLUMN:
        return Layout(_view(width, 1.3 * width, plans), width, "below")
    if len(figures.rig.masts) > 1:
        return Layout(_view(width, 0.86 * width, plans), width, "below")
    heights = [block.height for block in blocks(figures, 0.0, 0.0)]
    corner = _corner(width, heights)
    if not any(labels.crosses(box, stroke) for box in corner for plan in plans for stroke in obstacles(plan, below)):
        return Layout(below, width, "corner", corner)
    room = width - sections.COLUMN - GAP
    beside = _view(room, 1.08 * width, plans)
    if beside.scale > 0.6 * below.scale and sum(heights) < 1.5 * width:
        return Layout(beside, room, "beside")
    return Layout(below, width, "below")


def blocks(figures: RigFigures, left: float, top: float) -> list[sections.Block]:
    """The sections of each mast, one below the other."""
    found = []
    scale = sections.OVAL / (sections.largest(figures) or 200.0)
    for mast in sections.masts_from_bow(figures):
        found.append(sections.block(figures, mast, left, top, scale))
        top += found[-1].height + PAD
    return found


def _corner(width: float, heights: list[float]) -> tuple[Box, ...]:
    """What the sections would cover in the upper corner aft."""
    bottom = PAD + sum(heights) + PAD * len(heights)
    return ((width - sections.COLUMN - GAP, 0.0, width, bottom),)


def _view(room: float, tallest: float, plans: tuple[Plan, ...]) -> View:
    fore = max(plan.foremost for plan in plans)
    aft = min(plan.aftmost for plan in plans)
    high = max(plan.highest for plan in plans)
    free = room - GUTTER - 2 * PAD
    scale = min(free / (fore - aft), tallest / high)
    spare = free - scale * (fore - aft)
    return View(scale, PAD + GUTTER + 0.4 * spare + fore * scale, TOP + high * scale)


def obstacles(plan: Plan, view: View) -> list[Stroke]:
    """Lines that words should not hide: spars, stays and the deck."""
    strokes: list[Stroke] = []
    for mast in plan.masts:
        front, aft = view.x(mast.x), view.x(mast.x - mast.depth_lower.mm)
        boom = view.y(mast.lower_band)
        strokes += [(x, view.y(mast.top), x, view.y(mast.sheer)) for x in (front, aft, aft + 9)]
        end = aft + mast.foot.mm * view.scale * 1.05
        strokes += [(aft, y, end, y) for y in (boom, boom + mast.boom_depth.mm * view.scale)]
    bow, stern = view.point(plan.bow, plan.sheer(plan.bow)), view.point(plan.stern, plan.sheer(plan.stern))
    strokes.append((*view.point(plan.base.mm, plan.sheer(plan.base.mm)), *view.point(0, plan.forestay.mm)))
    strokes += [(*bow, view.left, view.top), (view.left, view.top, *stern)]
    if len(plan.masts) == 1:
        strokes.append((*view.point(0, plan.masts[0].top), *stern))
    return strokes
