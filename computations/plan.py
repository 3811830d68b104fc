"""Which dimensions a visit's readings give, and which readings are still needed for the others.

The plan is walked once for each set of readings with whatever quantities one likes: nodes of the tracer for the
product, numbers or another library's uncertain numbers for checking it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

from computations import formulas
from computations.catalogue import BOOM_HEIGHT_METHODS, DIMENSIONS, READINGS, ReadingKey, required_readings
from computations.formulas import Maths
from computations.inputs import Mast, Rig
from computations.results import ReadingRef

Q = TypeVar("Q", bound=formulas.Quantity)

HALYARD = "spinnaker_halyard_above_band"


@dataclass(frozen=True, slots=True)
class Outcome(Generic[Q]):
    """One dimension by one method: its quantity, or the readings still needed; `after` names what it builds on."""

    slug: str
    mast: str
    method: str = ""
    value: Q | None = None
    missing: tuple[ReadingRef, ...] = ()
    after: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class _Reading:
    slug: str
    position: str = ""


class Plan(Generic[Q]):
    """All outcomes of one set of readings.

    `readings` maps (slug, mast, position) to the corrected mean; a boat's own readings stand under its forward mast.
    `adopt(mast, string, two_mark)` combines the two methods for the boom's height where both are there.
    """

    def __init__(
        self,
        rig: Rig,
        readings: Mapping[ReadingKey, Q],
        maths: Maths[Q],
        adopt: Callable[[str, Q, Q], Q],
    ) -> None:
        self.rig, self.readings, self.maths, self.adopt = rig, readings, maths, adopt
        self.required = {(slug, mast, side) for slug, mast, side in required_readings(rig)}
        self.found: dict[tuple[str, str, str], Outcome[Q]] = {}
        for mast in rig.masts:
            self._single_readings(mast)
            self._luff(mast)
            self._boom_height(mast)
        forward = rig.mast(rig.forward_mast)
        if forward is not None:
            self._foretriangle(forward.name)
        for mast in rig.masts:
            self._whole_mast(mast.name)
        if forward is not None:
            self._ratios(forward.name)

    @property
    def outcomes(self) -> tuple[Outcome[Q], ...]:
        """By mast, then in the catalogue's order; both methods for the boom's height before the adopted one."""
        masts = [mast.name for mast in self.rig.masts]
        order = list(DIMENSIONS)
        methods = ("string", "two_mark", "adopted", "")
        return tuple(
            sorted(
                self.found.values(),
                key=lambda one: (masts.index(one.mast), order.index(one.slug), methods.index(one.method)),
            )
        )

    def dimension(self, slug: str, mast: str) -> Outcome[Q] | None:
        """The dimension others build on: of the boom's height the adopted one."""
        return self.found.get((slug, mast, "adopted" if slug == "boom_above_sheer" else ""))

    def _keep(self, outcome: Outcome[Q]) -> None:
        self.found[outcome.slug, outcome.mast, outcome.method] = outcome

    def _derive(
        self, slug: str, mast: str, needs: Sequence[_Reading | str], formula: Callable[..., Q], method: str = ""
    ) -> None:
        """Keep the outcome of `formula` on readings and dimensions (by slug), if this visit is to have it at all."""
        after = tuple(need for need in needs if isinstance(need, str))
        earlier = {need: self.dimension(need, mast) for need in after}
        keys = [(need.slug, mast, need.position) for need in needs if isinstance(need, _Reading)]
        if any(one is None for one in earlier.values()):
            return
        if keys and not any(key in self.readings for key in keys) and not all(key in self.required for key in keys):
            return
        missing: list[ReadingRef] = []
        values: list[Any] = []
        for need in needs:
            if isinstance(need, str):
                if one := earlier[need]:
                    missing += [ref for ref in one.missing if ref not in missing]
                    values.append(one.value)
            else:
                values.append(self.readings.get((need.slug, mast, need.position)))
                if values[-1] is None:
                    missing.append(ReadingRef(need.slug, mast, need.position))
        value = None if any(value is None for value in values) else formula(*values)
        self._keep(Outcome(slug, mast, method, value, tuple(missing), after))

    def _single_readings(self, mast: Mast) -> None:
        for kind in DIMENSIONS.values():
            if kind.reading and (kind.per == "mast" or mast.name == self.rig.forward_mast):
                self._derive(kind.slug, mast.name, [_Reading(kind.reading)], lambda reading: reading)
        self._derive(
            "mast_weight", mast.name, [_Reading("scale_reading"), _Reading("sling_weight")], lambda a, b: a - b
        )

    def _luff(self, mast: Mast) -> None:
        slugs = ("luff_between_bands", "luff_to_sheave")
        if not mast.upper_band:
            slugs = slugs[::-1]
        here = [slug for slug in slugs if (slug, mast.name, "") in self.readings]
        self._derive("luff", mast.name, [_Reading((here or slugs)[0])], lambda reading: reading)

    def _boom_height(self, mast: Mast) -> None:
        name = mast.name
        string = [_Reading("string_to_sheer", "port"), _Reading("string_to_sheer", "starboard")]
        self._derive(
            "boom_above_sheer", name, [*string, _Reading("string_to_band")], formulas.boom_height_by_string, "string"
        )
        slants = [_Reading(slug, side) for side in ("port", "starboard") for slug in ("band_to_sheer", "mark_to_sheer")]
        self._derive("boom_above_sheer", name, [*slants, _Reading("mark_spacing")], self._by_two_marks, "two_mark")
        ways = [
            self.found[key]
            for method in BOOM_HEIGHT_METHODS
            if (key := ("boom_above_sheer", name, method)) in self.found
        ]
        complete = [way.value for way in ways if way.value is not None]
        value: Q | None = None
        missing: tuple[ReadingRef, ...] = ()
        if len(complete) == 2:
            value = self.adopt(name, complete[0], complete[1])
        elif complete:
            value = complete[0]
        elif ways:
            missing = min((way.missing for way in ways), key=len)
        else:
            missing = tuple(
                ReadingRef(slug, name, side)
                for slug in BOOM_HEIGHT_METHODS["string"]
                for side in READINGS[slug].sides or ("",)
            )
        self._keep(Outcome("boom_above_sheer", name, "adopted", value, missing))

    def _by_two_marks(self, band_port: Q, mark_port: Q, band_starboard: Q, mark_starboard: Q, spacing: Q) -> Q:
        port, starboard = (band_port, mark_port), (band_starboard, mark_starboard)
        return formulas.boom_height_by_two_marks(port, starboard, spacing, self.maths)

    def _foretriangle(self, mast: str) -> None:
        outrigger = ("outrigger_reach", "outrigger_mast_width")
        height: list[_Reading | str] = [_Reading("forestay_above_band"), "boom_above_sheer"]
        if self.rig.outrigger or all((slug, mast, "") in self.readings for slug in outrigger):
            needs = [*height, "foretriangle_base", *(_Reading(slug) for slug in outrigger)]
            self._derive(
                "forestay_height",
                mast,
                needs,
                lambda above, bas, base, reach, width: formulas.forestay_height_on_outrigger(
                    above + bas, base, reach, width, self.maths
                ),
            )
        else:
            self._derive("forestay_height", mast, height, lambda above, bas: above + bas)
        self._spinnaker_hoist(mast)
        self._derive("foil", mast, [_Reading("foil_fore_aft")], lambda chord: 2.0 * chord)
        triangle = ["forestay_height", "foretriangle_base"]
        self._derive("forestay_length", mast, triangle, lambda ig, j: formulas.straight_line(ig, j, self.maths))
        self._derive("foretriangle_area", mast, triangle, formulas.triangle_area)
        self._derive("front_of_mast_to_bow", mast, ["foretriangle_base", "forestay_to_bow"], lambda j, sfj: j + sfj)
        self._derive("tack_reach_beyond_forestay", mast, ["tack_reach", "foretriangle_base"], lambda tps, j: tps - j)

    def _spinnaker_hoist(self, mast: str) -> None:
        names = [position for slug, where, position in self.readings if slug == HALYARD and where == mast]

        def hoist(boom_height: Q, first: Q, *others: Q) -> Q:
            highest = first
            for other in others:
                highest = formulas.greatest(highest, other, self.maths)
            return highest + boom_height

        self._derive(
            "spinnaker_hoist", mast, ["boom_above_sheer", *(_Reading(HALYARD, name) for name in names or [""])], hoist
        )

    def _whole_mast(self, mast: str) -> None:
        self._derive("upper_band_above_sheer", mast, ["luff", "boom_above_sheer"], lambda p, bas: p + bas)
        self._derive("mainsail_triangle_area", mast, ["luff", "foot"], formulas.triangle_area)
        for slug, section in (("mast_side_area", "fore_aft"), ("mast_front_area", "transverse")):
            needs = [f"section_{section}_lower", f"section_{section}_upper", "luff", "taper_length"]
            self._derive(slug, mast, needs, formulas.tapered_area)
        needs = ["mast_weight", "balance_height", "boom_above_sheer"]
        self._derive("mast_weight_moment", mast, needs, formulas.weight_moment)
        self._derive("luff_foot_ratio", mast, ["luff", "foot"], lambda p, e: p / e)

    def _ratios(self, mast: str) -> None:
        self._derive("foretriangle_ratio", mast, ["forestay_height", "foretriangle_base"], lambda ig, j: ig / j)
        needs = ["forestay_height", "upper_band_above_sheer"]
        self._derive("hoist_ratio", mast, needs, lambda ig, upper: ig / upper)
