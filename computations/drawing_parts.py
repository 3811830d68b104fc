"""The shapes of a rig drawing: hull, spars, bands, stays. Each function returns SVG text.

Presentation attributes only, and everything in `currentColor`, so that the page's scheme, a PDF and a printer each see
it in their own ink. What was read is inked; what was not is dotted.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from computations.drawing_geometry import MastPlan, Plan
from computations.drawing_labels import Stroke

DOTTED = ' stroke-dasharray="0.1 3.4" stroke-linecap="round"'
DATUM = ' stroke-dasharray="7 2.5 1.5 2.5"'


@dataclass(frozen=True, slots=True)
class View:
    """Millimetres to the viewBox; one scale for both directions."""

    scale: float
    left: float  # x of the forward mast's front face
    top: float  # y of the sheer abreast it

    def x(self, mm: float) -> float:
        return self.left - mm * self.scale

    def y(self, mm: float) -> float:
        return self.top - mm * self.scale

    def point(self, x_mm: float, z_mm: float) -> tuple[float, float]:
        return self.x(x_mm), self.y(z_mm)


def line(stroke: Stroke, width: float = 1.0, more: str = "", *, read: bool = True) -> str:
    x1, y1, x2, y2 = stroke
    return (
        f'<line x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}" stroke="currentColor" '
        f'stroke-width="{width}"{"" if read else DOTTED}{more}/>'
    )


def polygon(points: Sequence[tuple[float, float]], width: float = 1.0, fill: float = 0.0, *, read: bool = True) -> str:
    path = " ".join(f"{x:.1f},{y:.1f}" for x, y in points)
    ink = f'fill="currentColor" fill-opacity="{fill}"' if fill and read else 'fill="none"'
    return (
        f'<polygon points="{path}" {ink} stroke="currentColor" stroke-width="{width}" '
        f'stroke-linejoin="round"{"" if read else DOTTED}/>'
    )


def block(x: float, y: float, width: float, height: float, *, read: bool = True) -> str:
    """A band: solid where its place was read, an outline of dots where not."""
    ink = 'fill="currentColor"' if read else f'fill="none" stroke="currentColor" stroke-width="1"{DOTTED}'
    return f'<rect x="{x:.1f}" y="{y:.1f}" width="{width:.1f}" height="{height:.1f}" {ink}/>'


def circle(x: float, y: float, radius: float, *, filled: bool = True, read: bool = True) -> str:
    ink = 'fill="currentColor"' if filled and read else 'fill="none" stroke="currentColor" stroke-width="1.2"'
    return f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{radius}" {ink}{"" if read else DOTTED}/>'


def hull(view: View, plan: Plan) -> str:
    """A schematic hull under the measured points: sheer, stem, transom, waterline."""
    bow_x, bow_y = view.point(plan.bow, plan.sheer(plan.bow))
    stern_x, stern_y = view.point(plan.stern, plan.sheer(plan.stern))
    water = view.y(-plan.freeboard)
    rake = plan.freeboard * view.scale
    half_bow, half_stern = view.x(plan.bow / 2), view.x(plan.stern / 2)
    path = (
        f"M{bow_x:.1f} {bow_y:.1f}Q{half_bow:.1f} {view.top:.1f} {view.left:.1f} {view.top:.1f}"
        f"Q{half_stern:.1f} {view.top:.1f} {stern_x:.1f} {stern_y:.1f}"
        f"L{stern_x - 0.28 * rake:.1f} {water - 0.22 * rake:.1f}"
        f"Q{stern_x - 0.6 * rake:.1f} {water:.1f} {stern_x - 1.1 * rake:.1f} {water:.1f}"
        f"L{bow_x + 0.62 * rake:.1f} {water:.1f}"
        f"Q{bow_x + 0.2 * rake:.1f} {water - 0.5 * rake:.1f} {bow_x:.1f} {bow_y:.1f}Z"
    )
    return (
        f'<path d="{path}" fill="currentColor" fill-opacity="0.07" stroke="currentColor" stroke-width="1.2" '
        'stroke-linejoin="round"/>' + line((bow_x - 8, water, stern_x + 8, water), 0.7, ' stroke-opacity="0.55"')
    )


def mast_outline(view: View, mast: MastPlan) -> list[tuple[float, float]]:
    """Front face straight; the aft face follows the section from the lower band's to the upper band's."""
    thick = max(mast.depth_lower.mm, 1.8 / view.scale)
    thin = max(mast.depth_upper.mm, 1.2 / view.scale)
    taper_from = mast.upper_band - mast.taper.mm
    corners = [
        (mast.x, mast.sheer),
        (mast.x, mast.top),
        (mast.x - thin, mast.top),
        (mast.x - thin, mast.upper_band),
        (mast.x - thick, max(taper_from, mast.lower_band)),
        (mast.x - thick, mast.sheer),
    ]
    return [view.point(x, z) for x, z in corners]


def mast(view: View, plan: MastPlan) -> str:
    thick = max(plan.depth_lower.mm * view.scale, 1.8)
    thin = max(plan.depth_upper.mm * view.scale, 1.2)
    front = view.x(plan.x)
    read = plan.luff.read and plan.boom_height.read
    return (
        polygon(mast_outline(view, plan), 1.1, 0.16, read=plan.luff.read)
        + block(front - 1.2, view.y(plan.lower_band), thick + 2.4, 3.4, read=plan.boom_height.read)
        + block(front - 1.2, view.y(plan.upper_band) - 3.4, thin + 2.4, 3.4, read=read)
    )


def boom(view: View, plan: MastPlan) -> str:
    """Its upper side in line with the top edge of the lower band; the band begins at the foot's end."""
    aft_face = view.x(plan.x - plan.depth_lower.mm)
    upper = view.y(plan.lower_band)
    depth = max(plan.boom_depth.mm * view.scale, 1.8)
    length = plan.foot.mm * view.scale
    end = aft_face + length * 1.035 + 4
    corners = [(aft_face, upper), (end, upper), (end, upper + depth), (aft_face, upper + depth)]
    return polygon(corners, 1.1, 0.16, read=plan.foot.read) + block(
        aft_face + length, upper - 1.2, 3.4, depth + 2.4, read=plan.foot.read
    )


def spreaders(view: View, plan: MastPlan, hounds: float) -> str:
    """One short line a pair, evenly spaced up to the hounds: their number is described, their place is not measured."""
    if not plan.spreaders:
        return ""
    aft = plan.x - plan.depth_lower.mm
    reach = 0.02 * plan.luff.mm
    tips = [
        (aft - reach * (1 - 0.08 * number), plan.sheer + (hounds - plan.sheer) * number / (plan.spreaders + 1))
        for number in range(1, plan.spreaders + 1)
    ]
    stay = [(aft - 0.6 * reach, plan.sheer), *tips, (aft, hounds)]
    shroud = " ".join(f"{x:.1f},{y:.1f}" for x, y in (view.point(*point) for point in stay))
    return (
        f'<polyline points="{shroud}" fill="none" stroke="currentColor" stroke-width="0.6" stroke-opacity="0.6"/>'
        + "".join(line((view.x(aft), view.y(z + reach * 0.12), view.x(x), view.y(z)), 1.8) for x, z in tips)
    )


def forestay(view: View, plan: Plan) -> str:
    """From its deck point to the mast; with an outrigger to the attachment, its line carried on to the front face."""
    deck = view.point(plan.base.mm, plan.sheer(plan.base.mm))
    head = view.point(0, plan.forestay.mm)
    read = plan.base.read and plan.forestay.read
    parts = []
    if plan.outrigger and 0 < plan.outrigger < plan.base.mm:
        share = plan.outrigger / plan.base.mm
        hang = (head[0] + (deck[0] - head[0]) * share, head[1] + (deck[1] - head[1]) * share)
        parts.append(line((*hang, *head), 0.7, ' stroke-dasharray="2 2"'))
        parts.append(line((view.left, hang[1], *hang), 2.2))
        parts.append(circle(*hang, 1.6))
        head = hang
    parts.append(line((*deck, *head), 1.2, read=read))
    parts.append(circle(*deck, 2.0, read=read))
    if plan.inner_forestay:
        foot_x, top_z = 0.62 * plan.base.mm, 0.72 * plan.forestay.mm
        parts.append(
            line((*view.point(foot_x, plan.sheer(foot_x)), *view.point(0, top_z)), 0.6, ' stroke-opacity="0.6"')
        )
    return "".join(parts)


def bowsprit(view: View, plan: Plan) -> str:
    if plan.tack is None:
        return ""
    z = plan.sheer(plan.bow)
    heel, tip = view.point(min(plan.bow - 0.12 * plan.base.mm, plan.tack.mm), z), view.point(plan.tack.mm, z)
    bar = (
        line((*heel, *tip), 2.6, ' stroke-linecap="round"') if plan.tack.read else line((*heel, *tip), 1.6, read=False)
    )
    return bar + circle(*tip, 2.4, filled=False, read=plan.tack.read)


def pole(view: View, plan: Plan) -> str:
    """Swung forward in the plane of the drawing; it is measured square to the hull."""
    if plan.pole is None:
        return ""
    y = pole_height(view, plan)
    end = view.x(plan.pole.mm)
    bar = line((view.left, y, end, y), 2.2 if plan.pole.read else 1.4, read=plan.pole.read)
    return bar + circle(end, y, 2.0, filled=False, read=plan.pole.read)


def pole_height(view: View, plan: Plan) -> float:
    first = plan.masts[0]
    return view.y(first.lower_band + 0.05 * first.luff.mm)


def halyard_points(view: View, plan: Plan, halyards: Sequence[tuple[str, float]]) -> str:
    first = plan.masts[0]
    parts = [circle(view.left - 1.5, view.y(first.lower_band + height), 1.5, filled=False) for _, height in halyards]
    if plan.hoist is not None:
        parts.append(circle(view.left - 2.2, view.y(plan.hoist.mm), 2.2, read=plan.hoist.read))
    return "".join(parts)


def balance(view: View, plan: MastPlan) -> str:
    """The sign engineers use for a centre of mass, on the mast."""
    if plan.balance is None:
        return ""
    x, y = view.point(plan.x - plan.depth_lower.mm / 2, plan.lower_band + plan.balance)
    return (
        circle(x, y, 4.0, filled=False)
        + f'<path d="M{x:.1f} {y:.1f}v-4a4 4 0 0 1 4 4zM{x:.1f} {y:.1f}v4a4 4 0 0 1 -4 -4z" fill="currentColor"/>'
    )


def backstay(view: View, plan: Plan) -> str:
    if len(plan.masts) > 1:
        return ""
    first = plan.masts[0]
    end = view.point(plan.stern, plan.sheer(plan.stern))
    start = view.point(first.x - first.depth_upper.mm, first.top)
    return line((*start, *end), 0.6, ' stroke-opacity="0.45"')


def rig(view: View, plan: Plan, halyards: Sequence[tuple[str, float]] = ()) -> str:
    """All spars and stays of one plan."""
    parts = [backstay(view, plan), forestay(view, plan), bowsprit(view, plan), pole(view, plan)]
    for one in plan.masts:
        hounds = min(plan.forestay.mm, one.upper_band) if one.x == 0 else one.upper_band - 0.06 * one.luff.mm
        parts += [spreaders(view, one, hounds), boom(view, one), mast(view, one), balance(view, one)]
    parts.append(halyard_points(view, plan, halyards))
    return "".join(parts)
