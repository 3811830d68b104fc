"""What the derivation is measured against: the same formulas and sources in `uncertainties`, and bare numpy values.

Each function prepares two callables on the same invented visit; whoever times them runs them in turn. The peer is given
every advantage that changes no figure: corrections, coefficients and the variance of what each reading has to itself
are worked out beforehand, and its formulas stand in a straight line.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from computations import formulas
from computations.catalogue import READINGS
from computations.derivation import CHUNK, Derivation, derive, derive_columns
from computations.gauges import temperature_u
from computations.inputs import Instrument, Mast, Reading, Rig, Visit
from computations.layout import locate

Pair = tuple[Callable[[], Any], Callable[[], Any]]
BATCH = 100_000
PEER_VISITS = 100  # as many as a batch's peer does in one call
WARM_VISITS = 50  # as many as ours does one by one while the peer does one: turns of like length

_BY_TAPE = {
    "lower_band_width": 26, "upper_band_width": 27, "luff_between_bands": 15286, "forestay_above_band": 14981,
    "taper_length": 3207, "balance_above_band": 6203, "string_to_band": 104, "mark_spacing": 803,
    "foretriangle_base": 4483, "forestay_to_bow": 312, "bowsprit_tack_reach": 5604, "foot_distance": 5231,
    "boom_band_width": 26, "pole_length": 4497,
}  # fmt: skip
_BY_SIDE = {"string_to_sheer": (1211, 1214), "band_to_sheer": (2151, 2153), "mark_to_sheer": (1776, 1778)}
_BY_CALLIPER = {
    "section_fore_aft_lower": 212.3, "section_transverse_lower": 121.1, "section_fore_aft_upper": 132.4,
    "section_transverse_upper": 95.2, "foil_fore_aft": 31.3, "boom_depth": 180.2,
}  # fmt: skip


def full_visit() -> Visit:
    """A sloop with every reading taken twice, and her mast weighed: 58 readings."""
    rows = [(slug, "", float(value), "tape") for slug, value in _BY_TAPE.items()]
    rows += [("spinnaker_halyard_above_band", name, value, "tape") for name, value in (("a", 15102.0), ("b", 13994.0))]
    rows += [(slug, side, float(value), "tape") for slug, pair in _BY_SIDE.items()
             for side, value in zip(("port", "starboard"), pair, strict=True)]  # fmt: skip
    rows += [(slug, "", value, "calliper") for slug, value in _BY_CALLIPER.items()]
    readings = [
        Reading(slug, value, position=position, take=take, instrument=instrument)
        for slug, position, value, instrument in rows
        for take in (1, 2)
    ]
    readings += [
        Reading(slug, value, instrument="scale") for slug, value in (("scale_reading", 182.4), ("sling_weight", 9.2))
    ]
    return Visit(
        air_temperature_c=8.0,
        rig=Rig(masts=(Mast(),), spinnaker=True, pole=True, bowsprit=True, headsail_foil=True),
        instruments=(
            Instrument("tape", accuracy_class="II", nominal_length_mm=30_000.0),
            Instrument("calliper", "calliper", limit_of_error=0.1),
            Instrument("scale", "scale", limit_of_error=0.2),
        ),
        readings=tuple(readings),
    )


def one_visit() -> Pair:
    """Every dimension of one visit at a time with its U: ours from the visit's rows on, the peer's from its tables."""
    visit = full_visit()
    peer = Peer(derive(visit))

    def ours() -> None:
        for _ in range(WARM_VISITS):  # each let go at once, as the peer's are
            derive(visit).figures  # noqa: B018

    return ours, peer


def batch(total: int = BATCH) -> Pair:
    """`total` visits as columns, against `PEER_VISITS` through the peer."""
    visit, table = _table(total)
    peer = Peer(derive(visit))
    return lambda: derive_columns(visit, table, 8.0).expanded_uncertainties, lambda: [
        peer() for _ in range(PEER_VISITS)
    ]


def batch_of_values(total: int = BATCH) -> Pair:
    """`total` visits with U, against the bare values of the same formulas on numpy, chunked alike."""
    visit, table = _table(total)
    layout, instruments = locate(visit, derive(visit).assumptions)

    def values() -> Any:
        answers = np.empty((len(layout.outputs.values), total))
        with np.errstate(all="ignore"):
            for start in range(0, total, CHUNK):
                part = slice(start, start + CHUNK)
                numbers = [*table[:, part], *layout.circumstances(visit, instruments, 8.0)]
                for row, answer in zip(answers, layout.values_only(numbers), strict=True):
                    row[part] = answer
        return answers

    return lambda: derive_columns(visit, table, 8.0), values


def _table(total: int) -> tuple[Visit, Any]:
    visit = full_visit()
    random = np.random.default_rng(1)
    plain = np.array([reading.value for reading in visit.readings])
    return visit, plain[:, None] + random.normal(0.0, 0.3, (len(plain), total))


class Peer:
    """The visit's dimensions through `uncertainties`: sources made, readings corrected, formulas run, U read.

    The sizes of all sources but the temperature's, and the slopes of the slant distances, are worked out beforehand;
    readings that no dimension needs are left out.
    """

    def __init__(self, derivation: Derivation) -> None:
        import uncertainties  # noqa: PLC0415  (only for measuring)
        from uncertainties import umath  # noqa: PLC0415

        self.ufloat, self.sqrt = uncertainties.ufloat, umath.sqrt
        self.covariance = uncertainties.covariance_matrix
        details, visit = derivation.details, derivation.visit
        self.tape = visit.instruments[0]
        self.temperature = (visit.air_temperature_c, temperature_u(visit.air_temperature_c, derivation.assumptions))
        self.shared = sum(key.detail not in details.keys for key in details.sources)
        self.rows: list[tuple[tuple[str, str], bool, list[float], float, list[tuple[int, float]], list[float]]] = []
        for i, key in enumerate(details.keys):
            slug, _, position = key
            takes = [one for one in visit.readings if (one.slug, one.position) == (slug, position)]
            own = {
                source.kind: float(details.effects[i, j])
                for j, source in enumerate(details.sources)
                if source.detail == key
            }
            per_take = own.pop("reading_end") * len(takes) ** 0.5
            effects = [
                (j, float(details.effects[i, j]))
                for j, source in enumerate(details.sources[: self.shared])
                if details.effects[i, j] and source.kind != "tape_temperature"
            ]
            by_tape, values = takes[0].instrument == self.tape.identifier, [one.value for one in takes]
            if READINGS[slug].feeds:
                self.rows.append(((slug, position), by_tape, values, per_take, effects, list(own.values())))

    @staticmethod
    def choose(condition: Any, if_not_negative: Any, otherwise: Any) -> Any:
        return if_not_negative if getattr(condition, "nominal_value", condition) >= 0 else otherwise

    def __call__(self) -> list[tuple[float, float]]:
        ufloat = self.ufloat
        sources = [ufloat(0.0, 1.0) for _ in range(self.shared)]
        warmth = 1.0 + self.tape.expansion_per_k * (ufloat(*self.temperature) - self.tape.reference_temperature_c)
        x: dict[tuple[str, str], Any] = {}
        for key, by_tape, takes, per_take, effects, own in self.rows:
            shown = [ufloat(value, per_take) for value in takes]
            corrected = [one * warmth for one in shown] if by_tape else shown
            reading = corrected[0] if len(corrected) == 1 else (corrected[0] + corrected[1]) / 2.0
            for source, effect in effects:
                reading = reading + effect * sources[source]
            for size in own:
                reading = reading + ufloat(0.0, size)
            x[key] = reading
        return [(one.nominal_value, 2.0 * one.std_dev) for one in self._dimensions(x)]

    def _dimensions(self, x: dict[tuple[str, str], Any]) -> list[Any]:
        def of(slug: str, position: str = "") -> Any:
            return x[slug, position]

        p, e, j, sfj = of("luff_between_bands"), of("foot_distance"), of("foretriangle_base"), of("forestay_to_bow")
        tps, taper = of("bowsprit_tack_reach"), of("taper_length")
        sections = [of(f"section_{way}_{end}") for end in ("lower", "upper") for way in ("fore_aft", "transverse")]
        mdl1, mdt1, mdl2, mdt2 = sections
        heights = self._boom_heights(of)
        bas = heights[2]
        ig = of("forestay_above_band") + bas
        halyards = [of("spinnaker_halyard_above_band", name) for name in ("a", "b")]
        isp = formulas.greatest(halyards[0], halyards[1], self) + bas
        upper = p + bas
        weight, balance = of("scale_reading") - of("sling_weight"), of("balance_above_band")
        return [
            p, e, *heights, ig, isp, j, sfj, tps, of("pole_length"), of("boom_depth"), *sections, taper,
            2.0 * of("foil_fore_aft"), weight, balance, upper, formulas.straight_line(ig, j, self), j + sfj, tps - j,
            formulas.triangle_area(ig, j), formulas.triangle_area(p, e),
            formulas.tapered_area(mdl1, mdl2, p, taper), formulas.tapered_area(mdt1, mdt2, p, taper),
            formulas.weight_moment(weight, balance, bas), p / e, ig / j, ig / upper,
        ]  # fmt: skip

    def _boom_heights(self, of: Callable[..., Any]) -> tuple[Any, Any, Any]:
        string = formulas.boom_height_by_string(
            of("string_to_sheer", "port"), of("string_to_sheer", "starboard"), of("string_to_band")
        )
        port, starboard = ((of("band_to_sheer", side), of("mark_to_sheer", side)) for side in ("port", "starboard"))
        two_mark = formulas.boom_height_by_two_marks(port, starboard, of("mark_spacing"), self)
        (var_s, both), (_, var_t) = self.covariance([string, two_mark])
        share = (var_t - both) / (var_s + var_t - 2.0 * both)
        return string, two_mark, share * string + (1.0 - share) * two_mark
