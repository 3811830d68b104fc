"""Derived dimensions that stand in the drawing without a label: seen only while their row is lit."""

from __future__ import annotations

from collections.abc import Iterator

from computations import drawing_parts as parts
from computations.drawing_geometry import Plan, RigFigures

Point = tuple[float, float]


def unlabelled(figures: RigFigures, plan: Plan, view: parts.View) -> Iterator[tuple[str, str, str]]:
    """(slug, mast, SVG) of each derived dimension that the figures or the missing list name."""
    known = set(figures.figures) | figures.missing
    shapes = {**_boat_shapes(plan, view), **_mast_shapes(plan, view)}
    for key, svg in shapes.items():
        if key in known:
            yield (*key, svg)


def _area(*points: Point) -> str:
    path = " ".join(f"{x:.1f},{y:.1f}" for x, y in points)
    return (
        f'<polygon points="{path}" fill="currentColor" fill-opacity="0.14" stroke="currentColor" stroke-width="1.2"/>'
    )


def _boat_shapes(plan: Plan, view: parts.View) -> dict[tuple[str, str], str]:
    forward = plan.masts[0].name
    deck = view.point(plan.base.mm, 0)
    head, foot = view.point(0, plan.forestay.mm), view.point(0, 0)
    bow = view.point(plan.bow, 0)
    upper = view.point(0, plan.masts[0].upper_band)
    stay = parts.line((*deck, *head), 2.6)
    shapes = {
        "forestay_length": stay,
        "foretriangle_area": _area(deck, head, foot),
        "foretriangle_ratio": parts.line((*foot, *head), 2.6) + parts.line((*foot, *deck), 2.6),
        "front_of_mast_to_bow": parts.line((*foot, *bow), 2.6),
        "hoist_ratio": parts.line((*foot, *head), 2.6)
        + parts.line((foot[0] + 4, foot[1], upper[0] + 4, upper[1]), 2.6),
    }
    if plan.tack is not None:
        level = view.y(plan.sheer(plan.bow))
        shapes["tack_reach_beyond_forestay"] = parts.line((deck[0], level, view.x(plan.tack.mm), level), 2.6)
    return {(slug, forward): svg for slug, svg in shapes.items()}


def _mast_shapes(plan: Plan, view: parts.View) -> dict[tuple[str, str], str]:
    shapes = {}
    for mast in plan.masts:
        aft = mast.x - mast.depth_lower.mm
        low, high = view.point(aft, mast.lower_band), view.point(aft, mast.upper_band)
        end = view.point(aft - mast.foot.mm, mast.lower_band)
        foot = view.point(aft, mast.sheer)
        whole = parts.polygon(parts.mast_outline(view, mast), 2.2, 0.5)
        shapes[("mainsail_triangle_area", mast.name)] = _area(low, high, end)
        shapes[("luff_foot_ratio", mast.name)] = parts.line((*low, *high), 2.6) + parts.line((*low, *end), 2.6)
        shapes[("upper_band_above_sheer", mast.name)] = parts.line((*foot, *high), 2.6)
        for slug in ("mast_side_area", "mast_front_area", "mast_weight", "mast_weight_moment"):
            shapes[(slug, mast.name)] = whole
    return shapes
