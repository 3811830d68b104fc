"""What may stand in a rig's description, and its way into the computations' inputs."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from boats.models import Mast, Rig
from boats.particulars import limited
from computations import inputs

# The masts each type of rig has; a schooner may carry a third, abaft the main one.
MASTS_OF = {
    "sloop": (("main",),),
    "cutter": (("main",),),
    "ketch": (("main", "mizzen"),),
    "yawl": (("main", "mizzen"),),
    "schooner": (("main", "fore"), ("main", "mizzen", "fore")),
}
MOST_PAIRS = 9  # spreaders, runners, jumpers; a sanity bound, no source
RIG_FIELDS = (
    "rig_type",
    "inner_forestay",
    "outrigger",
    "spinnaker",
    "pole",
    "bowsprit",
    "headsail_foil",
    "pole_identification",
)
MAST_FIELDS = (
    "name",
    "material",
    "spreader_pairs",
    "runner_pairs",
    "jumper_pairs",
    "checkstays",
    "rigging_material",
    "upper_band",
    "mast_identification",
    "boom_identification",
)


def expected_masts(rig_type: str) -> str:
    return " or ".join(" and ".join(names) for names in MASTS_OF[rig_type])


def _cleaned_mast(fields: Mapping[str, Any]) -> dict[str, Any]:
    mast = {"name": "main", "upper_band": True, **fields}
    name = mast["name"]
    if name not in inputs.MAST_NAMES:
        raise ValueError(f"“{name}” is not a mast; expected {', '.join(inputs.MAST_NAMES)}.")
    if mast.get("material") not in inputs.MAST_MATERIALS:
        raise ValueError(f"The {name} mast's material was expected to be {', '.join(inputs.MAST_MATERIALS)}.")
    if mast.get("rigging_material", "") not in ("", *inputs.RIGGING_MATERIALS):
        raise ValueError(f"The {name} mast's rigging was expected to be {', '.join(inputs.RIGGING_MATERIALS)}.")
    for field in ("spreader_pairs", "runner_pairs", "jumper_pairs"):
        pairs = mast.get(field)
        if pairs is not None and not 0 <= pairs <= MOST_PAIRS:
            raise ValueError(f"The {name} mast has {pairs} {field.replace('_', ' ')}; expected 0 to {MOST_PAIRS}.")
    for field in ("mast_identification", "boom_identification"):
        mast[field] = limited(mast.get(field, ""), 60, f"The {field.replace('_', ' ')}")
    return mast


def cleaned_masts(rig_type: str, masts: Iterable[Mapping[str, Any]]) -> list[dict[str, Any]]:
    """The masts in the order main, mizzen, fore; ValueError where they are not those of the rig type."""
    if rig_type not in MASTS_OF:
        raise ValueError(f"“{rig_type}” is not a type of rig; expected {', '.join(MASTS_OF)}.")
    tidy = sorted((_cleaned_mast(fields) for fields in masts), key=lambda mast: inputs.MAST_NAMES.index(mast["name"]))
    names = tuple(mast["name"] for mast in tidy)
    if names not in MASTS_OF[rig_type]:
        found = " and ".join(names) or "none"
        raise ValueError(f"A {rig_type} has these masts: {expected_masts(rig_type)}; found: {found}.")
    return tidy


def plain(rig: Rig, masts: Iterable[Mast]) -> dict[str, Any]:
    """A rig's description as JSON-ready data, for the trail."""
    return {
        **{name: getattr(rig, name) for name in RIG_FIELDS},
        "since": rig.since.isoformat(),
        "masts": [{name: getattr(mast, name) for name in MAST_FIELDS} for mast in masts],
    }


def as_inputs(rig: Rig) -> inputs.Rig:
    """The description as the computations take it; the masts are one query unless prefetched."""
    masts = tuple(
        inputs.Mast(
            name=mast.name,
            material=mast.material,
            spreader_pairs=mast.spreader_pairs,
            runner_pairs=mast.runner_pairs,
            jumper_pairs=mast.jumper_pairs,
            checkstays=mast.checkstays,
            rigging_material=mast.rigging_material or None,
            upper_band=mast.upper_band,
            mast_identification=mast.mast_identification,
            boom_identification=mast.boom_identification,
        )
        for mast in rig.masts.all()
    )
    return inputs.Rig(
        rig_type=rig.rig_type,
        masts=masts,
        inner_forestay=rig.inner_forestay,
        outrigger=rig.outrigger,
        pole_identification=rig.pole_identification,
        spinnaker=rig.spinnaker,
        pole=rig.pole,
        bowsprit=rig.bowsprit,
        headsail_foil=rig.headsail_foil,
    )
