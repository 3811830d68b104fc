"""Do the readings agree with each other as well as their uncertainty lets one expect?"""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from computations.catalogue import SIDES, ReadingKey
from computations.checking.case import Case, amount, finding, kind_of, refs
from computations.inputs import Reading
from computations.results import CheckResult
from computations.sources import PER_TAKE, ROOT_3

NARROWEST_BAND_MM = 25.0  # 1 in (common practice, no source)

# Greatest range of n normal values in units of their standard deviation, at 95 per cent: the critical range factors
# of ISO 5725-6:1994, Table 1 (from memory), recomputed from the distribution of the range.
RANGE_FACTORS = {2: 2.77, 3: 3.31, 4: 3.63, 5: 3.86, 6: 4.03, 7: 4.17, 8: 4.29, 9: 4.39, 10: 4.47}
ALLOWANCE = 1.1  # so that one take in many hundred, not one in twenty, is asked about (office judgement)
BEYOND_CHANCE = 5.0  # times the limit: no scatter but a slip (office judgement)


def consistency(case: Case) -> Iterator[CheckResult]:
    yield from _bands(case)
    for key, takes in case.groups.items():
        if len(takes) > 1:
            yield from _repeats(case, key, takes)
    for mast in case.visit.rig.masts:
        yield from _string_sides(case, mast.name)
        yield from _two_mark_sides(case, mast.name)
        yield from _magnifier(case, mast.name)
        yield from _methods(case, mast.name)


def _bands(case: Case) -> Iterator[CheckResult]:
    for slug in ("lower_band_width", "upper_band_width", "boom_band_width"):
        for mast in case.visit.rig.masts:
            width = case.mean(slug, mast.name)
            if width is not None and width < NARROWEST_BAND_MM:
                key = (slug, mast.name, "")
                yield finding(
                    "band_narrow",
                    "ask",
                    f"{case.naming(refs(key))} is {amount(width)}; at least {amount(NARROWEST_BAND_MM)} is called for.",
                    [key],
                    advice="Have the band repainted on the side away from what is measured.",
                )
    for mast in case.visit.rig.masts:
        if mast.band_contrast is False:
            yield finding("band_contrast", "ask", "The bands do not contrast with the spar.", mast=mast.name)
        elif mast.band_contrast is None:
            yield finding(
                "band_contrast", "note", "Whether the bands contrast with the spar is not confirmed.", mast=mast.name
            )


def _repeats(case: Case, key: ReadingKey, takes: list[Reading]) -> Iterator[CheckResult]:
    values = [take.value for take in takes]
    spread = max(values) - min(values)
    per_take = _per_take(case, key)
    # Rounding alone may add half a step at either take.
    limit = ALLOWANCE * RANGE_FACTORS.get(len(takes), 4.5) * per_take + kind_of(key).resolution
    if spread > limit:
        kind = kind_of(key)
        yield finding(
            "repeats_apart",
            "stop" if spread > BEYOND_CHANCE * limit else "ask",
            f"The takes of {case.naming(refs(key))} lie {amount(spread, kind.unit)} apart; "
            f"{amount(limit, kind.unit)} is what their uncertainty explains.",
            [key],
            advice="Take it again, with the tape let go and set anew.",
        )


def _per_take(case: Case, key: ReadingKey) -> float:
    """Standard uncertainty of what each take does anew."""
    kind, assumptions = kind_of(key), case.assumptions
    if kind.resolution < 1.0:
        limit = assumptions.scale_kg if kind.quantity == "mass" else assumptions.calliper_mm
        return max(0.05, limit) / ROOT_3
    variance = 2.0 * assumptions.reading_end_mm**2 / 3.0
    if PER_TAKE[1] in kind.sources:
        variance += assumptions.tape_at_sheer_mm**2 / 3.0
    return math.sqrt(variance)


def _string_sides(case: Case, mast: str) -> Iterator[CheckResult]:
    keys = [("string_to_sheer", mast, side) for side in SIDES]
    if not all(key in case.groups for key in keys):
        return
    details = case.derivation.details
    rows = [details.keys.index(key) for key in keys]
    apart = float(details.corrected[rows[0]] - details.corrected[rows[1]])
    u = float(np.linalg.norm(details.effects[rows[0]] - details.effects[rows[1]]))
    yield from _sides_apart(keys, apart, case.assumptions.coverage_factor * u)


def _two_mark_sides(case: Case, mast: str) -> Iterator[CheckResult]:
    """The drops to the sheer on both sides, which do not mind a mast off the centreline; slants alone would."""
    two_mark = case.derivation.get("BAS", mast, "two_mark")
    if two_mark is None or two_mark.value is None:
        return
    details = case.derivation.details
    at = {key: i for i, key in enumerate(details.keys)}
    spacing_row = at["mark_spacing", mast, ""]
    z = float(details.corrected[spacing_row])
    drops, gradients = [], []
    for side in SIDES:
        a_row, b_row = at["band_to_sheer", mast, side], at["mark_to_sheer", mast, side]
        a, b = float(details.corrected[a_row]), float(details.corrected[b_row])
        drop = (a * a - b * b + z * z) / (2.0 * z)
        gradient = np.zeros(len(details.keys))
        gradient[a_row], gradient[b_row], gradient[spacing_row] = a / z, -b / z, 1.0 - drop / z
        drops.append(drop)
        gradients.append(gradient)
    u = float(np.linalg.norm((gradients[0] - gradients[1]) @ details.effects))
    keys = [(slug, mast, side) for side in SIDES for slug in ("band_to_sheer", "mark_to_sheer")]
    yield from _sides_apart(keys, drops[0] - drops[1], case.assumptions.coverage_factor * u)


def _sides_apart(keys: list[ReadingKey], apart: float, limit: float) -> Iterator[CheckResult]:
    if abs(apart) > limit:
        what = "the string" if keys[0][0] == "string_to_sheer" else "the lower band, by two marks"
        yield finding(
            "sides_apart",
            "ask",
            f"The sheer lies {amount(abs(apart))} {'lower' if apart > 0 else 'higher'} under {what} on port than on "
            f"starboard; {amount(limit)} is what the uncertainty explains.",
            keys,
            advice="Take both sides again; look whether the boat heels and where each sheer point was put.",
        )


def _methods(case: Case, mast: str) -> Iterator[CheckResult]:
    ways = [case.derivation.get("BAS", mast, method) for method in ("string", "two_mark")]
    if not (ways[0] and ways[1]) or ways[0].value is None or ways[1].value is None:
        if ways[1] and ways[1].value is None and not ways[1].missing:
            keys = [key for key in case.groups if key[1] == mast and key[0] in _TWO_MARK]
            yield finding("impossible_triangle", "stop", ways[1].reason, keys, advice="Take the slant distances again.")
        return
    positions = [case.derivation.find("BAS", mast, method) for method in ("string", "two_mark")]
    contributions = case.derivation.details.contributions
    u = float(np.linalg.norm(contributions[positions[0]] - contributions[positions[1]]))
    apart = ways[0].value - ways[1].value
    limit = case.assumptions.coverage_factor * u
    if abs(apart) > limit:
        keys = [key for key in case.groups if key[1] == mast and key[0] in (*_STRING, *_TWO_MARK)]
        yield finding(
            "boom_methods_differ",
            "stop",
            f"The boom's height is {amount(ways[0].value)} by the string and {amount(ways[1].value)} by two marks: "
            f"{amount(abs(apart))} apart, and {amount(limit)} is what the uncertainty explains "
            f"(En {apart / limit:.1f}).",
            keys,
            advice="Take the slant distances and the string again, or choose one method with a written reason.",
        )


_STRING = ("string_to_sheer", "string_to_band")
_TWO_MARK = ("mark_spacing", "band_to_sheer", "mark_to_sheer")


def _magnifier(case: Case, mast: str) -> Iterator[CheckResult]:
    """The two-mark method multiplies what is wrong with the slant distances by A / Z."""
    two_mark = case.derivation.get("BAS", mast, "two_mark")
    z = case.mean("mark_spacing", mast)
    slants = [case.mean("band_to_sheer", mast, side) for side in SIDES]
    longest = max((one for one in slants if one is not None), default=None)
    if two_mark is None or two_mark.expanded_uncertainty is None or z is None or longest is None:
        return
    string = case.derivation.get("BAS", mast, "string")
    if longest / z > 3.0 and not (string and string.value is not None):
        wanted = math.ceil(longest / 2.0 / 50.0) * 50.0
        yield finding(
            "marks_close",
            "note",
            f"With the marks {amount(z)} apart one millimetre on the tape is {longest / z:.1f} mm on the boom's "
            f"height, which is known to ± {amount(two_mark.expanded_uncertainty)}. Marks {amount(wanted)} apart would "
            f"bring that to 2.0 mm.",
            [("mark_spacing", mast, "")],
            advice="Set the second mark lower, or use the string.",
        )
