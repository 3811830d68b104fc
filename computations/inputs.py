"""What one visit brings to the computations: completed, validated and frozen at the edge.

Everything here is plain data. Lengths are millimetres, masses kilograms, temperatures degrees Celsius.
The log sheet reader and the database both build these, so that a figure never depends on the way it came in.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field

MAST_NAMES = ("main", "mizzen", "fore")
RIG_TYPES = ("sloop", "cutter", "ketch", "yawl", "schooner")
MAST_MATERIALS = ("aluminium", "carbon", "wood")
RIGGING_MATERIALS = ("wire", "steel_rod", "composite")
INSTRUMENT_KINDS = ("steel_tape", "rule", "calliper", "scale", "level", "plumb_line")
INTERESTS = ("none", "owner", "designer", "builder", "crew", "other")
ANSWERS = ("yes", "no", "not_applicable")

# Preparation of a mast: each is answered yes, no or not applicable, with a remark.
PREPARATION_ITEMS = {
    "halyards_on_messengers": "Halyards replaced by light messenger lines",
    "rigging_tied_at_foot": "Every shroud, stay, runner and checkstay led down the spar and tied tight at its foot",
    "fittings_left_in_place": "Displays, brackets, antennas and wind instruments left in place (allowed)",
    "supported_straight": "Mast supported straight",
}


@dataclass(frozen=True, slots=True)
class Mast:
    """One mast as described, not measured. None means the description does not say."""

    name: str = "main"
    material: str | None = None
    spreader_pairs: int | None = None
    runner_pairs: int | None = None
    jumper_pairs: int | None = None
    checkstays: bool | None = None
    rigging_material: str | None = None
    upper_band: bool = True
    band_contrast: bool | None = None
    state: str | None = None  # ashore | stepped, while the visit's mast readings were taken
    mast_identification: str = ""
    boom_identification: str = ""


@dataclass(frozen=True, slots=True)
class Rig:
    """The rig's description. `masts` lists them from the main mast on; the forward one carries the foretriangle."""

    rig_type: str = "sloop"
    masts: tuple[Mast, ...] = (Mast(),)
    inner_forestay: bool | None = None
    outrigger: bool = False
    pole_identification: str = ""
    # What a rig has decides what must be read; None: the description does not say, so readings are taken as they come.
    spinnaker: bool | None = None
    pole: bool | None = None
    bowsprit: bool | None = None
    headsail_foil: bool | None = None

    @property
    def forward_mast(self) -> str:
        """Name of the boat's forward mast: the main mast of a ketch or yawl, the fore mast of a schooner."""
        return "fore" if any(mast.name == "fore" for mast in self.masts) else "main"

    def mast(self, name: str) -> Mast | None:
        return next((mast for mast in self.masts if mast.name == name), None)


@dataclass(frozen=True, slots=True)
class Instrument:
    """One piece of the kit under one calibration.

    `calibration` names the calibration record: two visits with the same instrument and calibration share its error.
    `calibration_error_mm` is true minus indicated at the nominal length; `calibration_u_mm` its standard uncertainty
    there (U divided by k), None where only the accuracy class is known.
    """

    identifier: str
    kind: str = "steel_tape"
    accuracy_class: str | None = None  # I | II | III
    limit_of_error: float | None = None  # mm, or kg for a scale; half-width
    nominal_length_mm: float | None = None
    calibration: str = ""
    calibration_error: float = 0.0  # mm at nominal length, or kg for a scale
    calibration_u: float | None = None
    calibrated_on: dt.date | None = None
    due_on: dt.date | None = None
    reference_temperature_c: float = 20.0
    expansion_per_k: float = 11.5e-6
    # Pull and sag count only where the tape hangs free.
    cross_section_mm2: float | None = None
    modulus_n_per_mm2: float | None = None
    weight_n_per_mm: float | None = None
    reference_pull_n: float | None = None


@dataclass(frozen=True, slots=True)
class Reading:
    """One number taken once with one instrument. `value` in mm or kg, as indicated, before any correction."""

    slug: str
    value: float
    mast: str = "main"
    position: str = ""  # port | starboard | the halyard's name
    take: int = 1
    instrument: str = ""
    written: str = ""
    unit_written: str = ""
    pull_n: float | None = None  # given only where the tape hung free
    remark: str = ""
    # What decides the formulas, as opposed to the figure; made once, since every derivation asks for it.
    where: tuple[str, str, str, str, bool] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        where = (self.slug, self.mast, self.position, self.instrument, self.pull_n is not None)
        object.__setattr__(self, "where", where)

    @property
    def key(self) -> tuple[str, str, str, int]:
        return (self.slug, self.mast, self.position, self.take)


@dataclass(frozen=True, slots=True)
class Preparation:
    item: str
    answer: str
    mast: str = "main"
    remark: str = ""


@dataclass(frozen=True, slots=True)
class Absent:
    """ "Not on this rig", said by the measurer of a reading; of a halyard without its name ("") it means any."""

    slug: str
    mast: str = "main"
    position: str = ""
    reason: str = ""


@dataclass(frozen=True, slots=True)
class Visit:
    """One visit to one boat: the whole input of a derivation."""

    key: str = "visit"  # identifies the visit, so that what only this visit shares is not mistaken for another's
    boat: str = ""
    sail_number: str = ""
    design: str = ""
    date: dt.date | None = None
    place: str = ""
    measurer: str = ""
    air_temperature_c: float | None = None
    interest: str = "none"
    rig: Rig = Rig()
    instruments: tuple[Instrument, ...] = ()
    readings: tuple[Reading, ...] = ()
    preparation: tuple[Preparation, ...] = ()
    bas_choice: dict[str, str] = field(default_factory=dict)  # mast -> string | two_mark, chosen with a written reason
    absent: tuple[Absent, ...] = ()

    def instrument(self, identifier: str) -> Instrument | None:
        return next((one for one in self.instruments if one.identifier == identifier), None)


@dataclass(frozen=True, slots=True)
class Assumptions:
    """Half-widths of the rectangular sources: office judgement, editable (common practice, no source).

    Millimetres unless the name says otherwise. u = a / sqrt(3) (JCGM 100:2008, 4.3.7).
    """

    reading_end_mm: float = 0.5
    tape_temperature_k: float = 3.0
    band_edge_mm: float = 0.5
    sheer_point_mm: float = 3.0
    tape_at_sheer_mm: float = 1.5
    string_straightness_mm: float = 2.0
    sheave_edge_mm: float = 1.0
    deck_intersection_mm: float = 3.0
    balance_point_mm: float = 10.0
    calliper_mm: float = 0.1  # where the instrument's record gives no limit of error
    scale_kg: float = 0.5  # likewise
    default_tape_class: str = "II"
    coverage_factor: float = 2.0
    spar_to_20_c: bool = False  # also bring the spar to 20 degrees by its material
