"""The six designs of the demo office and the boats built to them. All of it is invented."""

from __future__ import annotations

import random
from dataclasses import dataclass

from factory import fuzzy
from factory.base import Factory
from factory.declarations import Sequence
from factory.random import reseed_random

LETTERS = "HVS"  # the invented place's sail letters
BUILDERS = ("Loam & Daughters", "Averell Boatworks", "Sundry Slip Yard", "Marrow Quay Yard")
HARBOURS = ("Port Averell", "Lesser Hythe", "Gull Stairs", "Old Marrow Quay")
FIRST = ("Quiet", "Second", "Copper", "Long", "Plain", "Kindly", "Salted", "Borrowed", "Patient", "Hollow", "Merry")
SECOND = ("Errand", "Lantern", "Argument", "Thimble", "Ledger", "Parcel")


@dataclass(frozen=True, slots=True)
class MastPlan:
    """What the drawing says of one mast, mm and kg."""

    luff: float
    foot: float
    boom_height: float
    section: float  # fore-and-aft at the lower band
    weight: float
    spreaders: int = 2


@dataclass(frozen=True, slots=True)
class DesignPlan:
    name: str
    designer: str
    rig_type: str
    masts: dict[str, MastPlan]
    base: float  # J
    forestay_share: float  # of the luff, above the lower band
    half_beam: float
    material: str = "aluminium"
    bowsprit: bool = False
    pole: bool = True
    outrigger: bool = False
    separation: float = 0.0


DESIGNS = (
    DesignPlan("Tansy 24", "I. Corrow", "sloop", {"main": MastPlan(8650, 2870, 1010, 98, 38, 1)}, 2610, 0.88, 1050),
    DesignPlan("Orrin 31", "I. Corrow", "sloop", {"main": MastPlan(11950, 4150, 1240, 128, 74)}, 3640, 0.93, 1330),
    DesignPlan(
        "Vellamar 38", "S. Aldane", "sloop", {"main": MastPlan(14850, 5120, 1420, 176, 148, 3)}, 4480, 0.97, 1610,
        material="carbon", bowsprit=True, pole=False,
    ),
    DesignPlan(
        "Brackwell 36", "Joss Peverel", "cutter", {"main": MastPlan(12650, 4460, 1370, 160, 121)}, 4310, 0.99, 1500,
        bowsprit=True, outrigger=True,
    ),
    DesignPlan(
        "Hestrand 41", "Joss Peverel", "ketch",
        {"main": MastPlan(13250, 4230, 1510, 182, 152), "mizzen": MastPlan(8420, 2870, 1460, 122, 61, 1)},
        4620, 0.98, 1660, separation=7150.0,
    ),
    DesignPlan(
        "Quillon 34", "S. Aldane", "yawl",
        {"main": MastPlan(12150, 4420, 1290, 150, 96), "mizzen": MastPlan(5210, 1730, 1180, 78, 19, 1)},
        3790, 0.94, 1420, material="wood", separation=8240.0,
    ),
)  # fmt: skip
NUMBER_BUILT = {"Tansy 24": 14, "Orrin 31": 16, "Vellamar 38": 10, "Brackwell 36": 9, "Hestrand 41": 9, "Quillon 34": 8}


@dataclass(frozen=True, slots=True)
class DemoBoat:
    """One boat as she is registered. The truth about her rig is in `truth.py`; nobody in the office knows it."""

    name: str
    sail_number: str
    plan: DesignPlan
    builder: str
    year: int
    harbour: str
    serial: int

    @property
    def hin(self) -> str:
        """A hull identification number in the form of ISO 10087, of an invented builder."""
        maker = "".join(word[0] for word in self.builder.replace("&", "").split())[:2].upper().ljust(3, "X")
        return f"XV-{maker}{self.serial:05d}C{self.year % 10}{self.year % 100:02d}"


class DemoBoatFactory(Factory):
    """Name and numbers follow from the boat's place in the fleet, so no two are the same; the rest is diced."""

    class Meta:
        model = DemoBoat

    name = Sequence(lambda n: f"{FIRST[n % len(FIRST)]} {SECOND[(n % len(FIRST) + n // len(FIRST)) % len(SECOND)]}")
    sail_number = Sequence(lambda n: f"{LETTERS} {112 + 29 * n}")
    builder = fuzzy.FuzzyChoice(BUILDERS)
    year = fuzzy.FuzzyInteger(1994, 2021)
    harbour = fuzzy.FuzzyChoice(HARBOURS)
    serial = Sequence(lambda n: 11200 + 37 * n)


def build_fleet(seed: int, most: int | None = None) -> list[DemoBoat]:
    """All boats of all designs, always the same for one seed; `most` takes the first so many."""
    plans = [plan for plan in DESIGNS for _ in range(NUMBER_BUILT[plan.name])]
    random.Random(seed).shuffle(plans)  # noqa: S311 - invented data
    reseed_random(seed)
    DemoBoatFactory.reset_sequence(0)
    return [DemoBoatFactory(plan=plan) for plan in plans[:most]]
