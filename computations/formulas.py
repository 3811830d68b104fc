"""Every formula of the rig, once. The text serves numbers, columns of visits and the tracer alike.

Lengths in mm, z up from the mast datum (the sheerline abreast the mast, projected on to it), x forward from the mast's
front face. A quantity is anything with arithmetic; what arithmetic alone cannot say comes through `Maths`.
Where a formula has no answer it gives NaN through `Maths.choose`; nothing raises.
"""

from __future__ import annotations

from typing import Protocol, Self, TypeVar

M2_PER_MM2 = 1e-6
M_PER_MM = 1e-3
NAN = float("nan")


class Quantity(Protocol):
    """What formulas do with a reading."""

    def __add__(self, other: Self | float, /) -> Self: ...
    def __radd__(self, other: float, /) -> Self: ...
    def __sub__(self, other: Self | float, /) -> Self: ...
    def __rsub__(self, other: float, /) -> Self: ...
    def __mul__(self, other: Self | float, /) -> Self: ...
    def __rmul__(self, other: float, /) -> Self: ...
    def __truediv__(self, other: Self | float, /) -> Self: ...
    def __neg__(self) -> Self: ...


Q = TypeVar("Q", bound=Quantity)


class Maths(Protocol[Q]):
    """The two operations that are not arithmetic."""

    def sqrt(self, a: Q, /) -> Q: ...

    def choose(self, condition: Q, if_not_negative: Q | float, otherwise: Q | float, /) -> Q:
        """`if_not_negative` where condition >= 0, else `otherwise`."""
        ...


def mean_of_sides(port: Q, starboard: Q) -> Q:
    """Mean of the two sides (mm)."""
    return 0.5 * (port + starboard)


def boom_height_by_string(port: Q, starboard: Q, to_band: Q) -> Q:
    """BAS by the string: mean drop from the string to the sheer, and the band's height over the string (mm).

    Common practice, no source.
    """
    return mean_of_sides(port, starboard) + to_band


def drop_to_sheer(to_band: Q, to_mark: Q, spacing: Q, maths: Maths[Q]) -> Q:
    """How far below the band the sheer point lies, from its slant distances to two marks on the mast (mm).

    d = (A2 - B2 + Z2) / (2 Z), the foot of the common chord of two circles (law of cosines; Weisstein, MathWorld,
    "Circle-Circle Intersection", from memory). NaN where no triangle has these sides or Z <= 0.
    """
    drop = (to_band * to_band - to_mark * to_mark) / (2.0 * spacing) + 0.5 * spacing
    return drop * possible(to_band, to_mark, spacing, maths)


def boom_height_by_two_marks(port: tuple[Q, Q], starboard: tuple[Q, Q], spacing: Q, maths: Maths[Q]) -> Q:
    """BAS by two marks (mm): the mean of both sides' drops, each side given as its slants to band and mark.

    As `drop_to_sheer` on either side, with what both share taken out: (A2 - B2 + A'2 - B'2) / (4 Z) + Z / 2.
    """
    squares = [to_band * to_band - to_mark * to_mark for to_band, to_mark in (port, starboard)]
    mean = (squares[0] + squares[1]) / (4.0 * spacing) + 0.5 * spacing
    both = possible(*port, spacing, maths) * possible(*starboard, spacing, maths)
    return mean * both


def possible(a: Q, b: Q, z: Q, maths: Maths[Q]) -> Q:
    """1 where the sides a, b and z > 0 make a triangle, else NaN."""
    answer = maths.choose(z - (a - b), 1.0, NAN)
    answer = maths.choose(z - (b - a), answer, NAN)
    answer = maths.choose(a + b - z, answer, NAN)
    return maths.choose(-z, NAN, answer)


def forestay_height_on_outrigger(height: Q, base: Q, reach: Q, mast_width: Q, maths: Maths[Q]) -> Q:
    """IG: the line from the forestay's deck point through its attachment, carried on to the mast's front face (mm).

    `height` of the attachment above the sheer, `base` J, `reach` GO and `mast_width` MW at that height. With the
    attachment g = GO - MW ahead of the front face, IG = h J / (J - g) by similar triangles; h itself where g <= 0,
    NaN where g >= J.
    """
    ahead = reach - mast_width
    left = base - maths.choose(ahead, ahead, 0.0)
    return maths.choose(-left, NAN, height * base / left)


def greatest(a: Q, b: Q, maths: Maths[Q]) -> Q:
    """The greater of two."""
    return maths.choose(a - b, a, b)


def straight_line(height: Q, base: Q, maths: Maths[Q]) -> Q:
    """Length of a straight, unloaded stay from its height and base (mm), by Pythagoras."""
    return maths.sqrt(height * height + base * base)


def triangle_area(height: Q, base: Q) -> Q:
    """Half the product of two lengths in mm, in m2."""
    return (0.5 * M2_PER_MM2) * (height * base)


def tapered_area(lower: Q, upper: Q, luff: Q, taper: Q) -> Q:
    """Area in m2 of the mast between the bands: straight at `lower` width, then tapered to `upper` over `taper` (mm).

    lower (P - t) + (lower + upper) t / 2, the trapezoid's area added.
    """
    return M2_PER_MM2 * (lower * (luff - taper) + 0.5 * (lower + upper) * taper)


def weight_moment(mass: Q, balance: Q, boom_height: Q) -> Q:
    """Moment of the mast's weight about the sheer in kg.m, from kg and mm."""
    return M_PER_MM * (mass * (balance + boom_height))
