"""Proportions no ordinary rig leaves, wide: a slip shows here that nothing else catches (common practice)."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from computations.catalogue import ReadingKey
from computations.checking.case import Case, amount, finding
from computations.inputs import Mast
from computations.results import CheckResult

Values = Callable[[str], float | None]


def proportions(case: Case) -> Iterator[CheckResult]:
    for mast in case.visit.rig.masts:
        yield from _mast(case, mast)
    yield from _foretriangle(case, case.visit.rig.forward_mast)


def _keys(mast: str, *slugs: str) -> list[ReadingKey]:
    return [(slug, mast, "") for slug in slugs]


def _luff(case: Case, mast: str) -> str:
    return "luff_to_sheave" if ("luff_to_sheave", mast, "") in case.groups else "luff_between_bands"


def _mast(case: Case, mast: Mast) -> Iterator[CheckResult]:
    name = mast.name
    yield from _sections(case, name)
    luff, foot = case.value("P", name), case.value("E", name)
    p = _luff(case, name)
    taper, balance, depth = (case.value(slug, name) for slug in ("taper_length", "MCG", "BD"))
    if luff and taper is not None and taper >= luff:
        yield _out("taper_long", f"The taper ({amount(taper)}) is not shorter than the luff ({amount(luff)}).",
                   _keys(name, "taper_length", p))  # fmt: skip
    yield from _ratio("balance_to_luff", "balance point to luff", (balance, luff), (0.25, 0.6),
                      _keys(name, "balance_above_band", p))  # fmt: skip
    yield from _ratio("foot_to_luff", "foot to luff", (foot, luff), (0.2, 0.6),
                      _keys(name, "foot_distance", p))  # fmt: skip
    yield from _ratio("boom_depth_to_foot", "depth of the boom to foot", (depth, foot), (0.01, 0.12),
                      _keys(name, "boom_depth", "foot_distance"))  # fmt: skip
    lower = case.value("MDL1", name)
    yield from _ratio("section_to_luff", "fore-and-aft section to luff", (lower, luff), (0.005, 0.04),
                      _keys(name, "section_fore_aft_lower", p))  # fmt: skip
    scale, sling = case.mean("scale_reading", name), case.mean("sling_weight", name)
    if scale is not None and sling is not None and sling >= scale:
        yield _out("slings_heavy", f"Slings and shackles ({amount(sling, 'kg')}) weigh as much as mast and slings "
                   f"together ({amount(scale, 'kg')}).", _keys(name, "scale_reading", "sling_weight"))  # fmt: skip
    boom = case.value("BAS", name)
    if boom is not None and luff and not -0.05 * luff <= boom <= 0.3 * luff:
        keys = [key for key in case.groups if key[1] == name and key[0] in ("string_to_sheer", "mark_spacing")]
        yield _out("boom_height_odd", f"The boom lies {amount(boom)} above the sheer, unusual for a luff of "
                   f"{amount(luff)}.", keys or _keys(name, p))  # fmt: skip


def _sections(case: Case, mast: str) -> Iterator[CheckResult]:
    value = {symbol: case.value(symbol, mast) for symbol in ("MDL1", "MDT1", "MDL2", "MDT2")}
    slug = {
        "MDL1": "section_fore_aft_lower",
        "MDT1": "section_transverse_lower",
        "MDL2": "section_fore_aft_upper",
        "MDT2": "section_transverse_upper",
    }
    for less, more, words in (
        ("MDL2", "MDL1", "the fore-and-aft section is greater at the upper band"),
        ("MDT2", "MDT1", "the transverse section is greater at the upper band"),
        ("MDT1", "MDL1", "the section at the lower band is wider than it is deep"),
        ("MDT2", "MDL2", "the section at the upper band is wider than it is deep"),
    ):
        a, b = value[less], value[more]
        u = case.expanded(more, mast) or 0.0
        if a is not None and b is not None and a > b + u:
            yield _out(f"sections_{less}_{more}".lower(), f"{words.capitalize()}: {less} {amount(a)}, {more} "
                       f"{amount(b)}.", _keys(mast, slug[less], slug[more]))  # fmt: skip


def _foretriangle(case: Case, mast: str) -> Iterator[CheckResult]:
    ig, j, isp = (case.value(name, mast) for name in ("IG", "J", "ISP"))
    spl, tps, foil = (case.value(name, mast) for name in ("SPL", "TPS", "FSP"))
    base = _keys(mast, "foretriangle_base")
    height = _keys(mast, "forestay_above_band")
    yield from _ratio("base_to_height", "base to height of the foretriangle", (j, ig), (0.15, 0.5), base + height)
    yield from _ratio("pole_to_base", "spinnaker pole to base of the foretriangle", (spl, j), (0.85, 1.25),
                      _keys(mast, "pole_length") + base)  # fmt: skip
    yield from _ratio("tack_to_base", "reach of the tack point to base of the foretriangle", (tps, j), (1.0, 2.5),
                      _keys(mast, "bowsprit_tack_reach") + base)  # fmt: skip
    if isp is not None and ig is not None and isp < ig - 50.0:
        halyards = [key for key in case.groups if key[0] == "spinnaker_halyard_above_band"]
        yield _out("hoist_low", f"The spinnaker hoist ({amount(isp)}) lies more than 50 mm below the height of the "
                   f"foretriangle ({amount(ig)}).", halyards + height)  # fmt: skip
    if foil is not None and not 10.0 <= foil <= 120.0:
        yield _out("foil_odd", f"FSP is {amount(foil)}, unusual for twice the chord of a headsail foil.",
                   _keys(mast, "foil_fore_aft"))  # fmt: skip
    reach, width = case.mean("outrigger_reach", mast), case.mean("outrigger_mast_width", mast)
    if reach is not None and width is not None and reach <= width:
        yield _out("outrigger_short", f"The forestay's attachment is not ahead of the mast: GO {amount(reach)}, MW "
                   f"{amount(width)}.", _keys(mast, "outrigger_reach", "outrigger_mast_width"))  # fmt: skip


def _ratio(
    check: str,
    words: str,
    parts: tuple[float | None, float | None],
    bounds: tuple[float, float],
    keys: list[ReadingKey],
) -> Iterator[CheckResult]:
    above, below = parts
    if above is None or not below:
        return
    ratio = above / below
    if not bounds[0] <= ratio <= bounds[1]:
        yield _out(
            check, f"{words.capitalize()} is {ratio:.3f}; between {bounds[0]:g} and {bounds[1]:g} is usual.", keys
        )


def _out(check: str, message: str, keys: list[ReadingKey]) -> CheckResult:
    return finding(check, "ask", message, keys, advice="Look at the tape's metre and at the digits once more.")
