"""What happens to demo boats besides visits: a new mast, a sale, a share bought."""

from __future__ import annotations

import datetime as dt
import random
from typing import Any

from boats.actions.people import add_owner, end_ownership
from boats.actions.rigs import describe_rig
from boats.models import Boat, Rig
from boats.rigs import as_inputs
from office.demo.designs import DemoBoat
from office.demo.story import Afloat, Office
from office.demo.truth import draw_truth

DISMASTED = "New mast after the dismasting off Gull Stairs."
OF_THE_MAST = ("luff_", "forestay_above", "spinnaker_", "section_", "taper_", "scale_", "balance_")
HIGHER = ("luff_between_bands", "forestay_above_band", "spinnaker_halyard_above_band")
NEW_EXTRUSION = 25.0  # mm: the new mast's sheaves and tangs sit so much higher


def describe(demo: DemoBoat, foil: bool, mast_mark: str) -> dict[str, Any]:
    """The rig's description as the register takes it."""
    plan = demo.plan
    masts = [
        {
            "name": name,
            "material": plan.material,
            "spreader_pairs": mast.spreaders,
            "runner_pairs": 1 if plan.rig_type == "cutter" else 0,
            "jumper_pairs": 0,
            "checkstays": plan.material == "carbon",
            "rigging_material": "steel_rod" if plan.material == "carbon" else "wire",
            "upper_band": True,
            "mast_identification": f"{demo.serial}-{name[0].upper()}{mast_mark}",
            "boom_identification": f"{demo.serial}-{name[0].upper()}B1",
        }
        for name, mast in plan.masts.items()
    ]
    return {
        "rig_type": plan.rig_type,
        "masts": masts,
        "inner_forestay": plan.rig_type == "cutter",
        "outrigger": plan.outrigger,
        "spinnaker": True,
        "pole": plan.pole,
        "bowsprit": plan.bowsprit,
        "headsail_foil": foil,
        "pole_identification": f"{demo.serial}-P1" if plan.pole else "",
    }


def new_mast(office: Office, afloat: Afloat, day: dt.date) -> None:
    """The yard steps another mast: the rig is described anew, and the mast's lengths are others. The hull's stay."""
    former = Rig.objects.get(boat=afloat.boat, until=None)
    description = describe(afloat.demo, bool(former.headsail_foil), mast_mark="2")
    rig = describe_rig(
        by=office.people["reviewer"], boat=afloat.boat, since=day, reason=DISMASTED, **description
    )  # fmt: skip
    dice = random.Random(afloat.demo.serial)  # noqa: S311 - invented data
    for key, value in draw_truth(afloat.demo, as_inputs(rig), dice).lengths.items():
        if key[1] == "main" and key[0].startswith(OF_THE_MAST):
            afloat.truth.lengths[key] = value + (NEW_EXTRUSION if key[0] in HIGHER else 0.0)


def sell(office: Office, boat: Boat, day: dt.date, buyer: str) -> None:
    """The boat changes hands: the former owner sees her no more, her history stays with her."""
    by = office.people["administrator"]
    for ownership in boat.ownerships.filter(until=None):
        end_ownership(by=by, ownership=ownership, until=day - dt.timedelta(days=1), reason="Sold.")
    add_owner(by=by, boat=boat, person=office.people[buyer], since=day)


def buy_share(office: Office, boat: Boat, day: dt.date, buyer: str) -> None:
    """A measurer buys a share: measuring her takes an exception from then on."""
    add_owner(by=office.people["administrator"], boat=boat, person=office.people[buyer], since=day)
