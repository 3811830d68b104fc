"""The sentences a certificate states. They are frozen in its snapshot, so a change here speaks of later ones only."""

from __future__ import annotations

from typing import TYPE_CHECKING

from computations.inputs import PREPARATION_ITEMS, RIG_TYPES

if TYPE_CHECKING:
    from computations.inputs import Mast, Rig
    from surveys.figures import Figures
    from surveys.models import Visit

RIGGING = {"steel_rod": "steel rod", "wire": "wire", "composite": "composite"}
MAST_NAMES = {"main": "Main mast", "mizzen": "Mizzen mast", "fore": "Fore mast"}


UNCERTAINTY = (
    "U is the expanded uncertainty: the standard uncertainty times the coverage factor k = 2, for a level of "
    "confidence of about 95 % (JCGM 100:2008). What figures share, such as one tape or one sheer point, is carried as "
    "correlation."
)
DECISION = (
    "Lengths are corrected for the tape's temperature and calibration, and rounded to the last digit of U. No figure "
    "is stated to conform to a limit: whoever compares one with a limit decides by a rule that says how U counts."
)
ONLY_THESE = "These figures hold for the boat and the spars named here, as they were on the day of measuring."
CHECK_IT = (
    "This paper is valid only while the register says so: check it at the address in the square code. "
    "It may be copied only as a whole."
)


def for_certificate(visit: Visit, figures: Figures) -> list[str]:
    """What the figures mean, where they end, and how to check the paper, in the order they are printed."""
    return [UNCERTAINTY, DECISION, ONLY_THESE, *_unlike_custom(figures), *_exceptions(visit), CHECK_IT]


def _unlike_custom(figures: Figures) -> list[str]:
    """Preparation that was not as it should be is said with its remark."""
    lacking = [one for one in figures.inputs.preparation if one.answer == "no"]
    return [
        f"Not as prepared by custom: {PREPARATION_ITEMS.get(one.item, one.item).lower()}"
        f"{' (' + one.remark + ')' if one.remark else ''}."
        for one in lacking
    ]


def _exceptions(visit: Visit) -> list[str]:
    names = [one.person.name for one in visit.interest_exceptions.select_related("person")]
    return [f"The office granted an exception for an interest in the boat to {' and '.join(names)}."] if names else []


def rig_in_words(rig: Rig) -> str:
    """The rig's description in one line for the boat and one for each mast."""
    kind = rig.rig_type.capitalize() if rig.rig_type in RIG_TYPES else rig.rig_type
    parts = [
        word
        for word, has in (
            ("inner forestay", rig.inner_forestay),
            ("forestay on an outrigger", rig.outrigger),
            ("headsail foil", rig.headsail_foil),
            ("spinnaker", rig.spinnaker),
            ("pole", rig.pole),
            ("bowsprit", rig.bowsprit),
        )
        if has
    ]
    first = f"{kind}; {', '.join(parts)}." if parts else f"{kind}."
    return " ".join([first, *(mast_in_words(mast, several=len(rig.masts) > 1) for mast in rig.masts)])


def mast_in_words(mast: Mast, *, several: bool) -> str:
    parts = [mast.material] if mast.material else []
    for number, thing in (
        (mast.spreader_pairs, "spreader"),
        (mast.runner_pairs, "runner"),
        (mast.jumper_pairs, "jumper"),
    ):
        if number:
            parts.append(f"{number} {'pair' if number == 1 else 'pairs'} of {thing}s")
    if mast.checkstays:
        parts.append("checkstays")
    if mast.rigging_material:
        parts.append(f"standing rigging of {RIGGING.get(mast.rigging_material, mast.rigging_material)}")
    if not mast.upper_band:
        parts.append("no upper band")
    text = ", ".join(parts) or "not described"
    name = MAST_NAMES.get(mast.name, mast.name) if several else "Mast"
    return f"{name}: {text}."
