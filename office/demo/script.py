"""What stands on the demo office's desk today: the latest visit of the first boats, and what is worth looking at."""

from __future__ import annotations

from dataclasses import dataclass, field

from office.demo.events import new_mast
from office.demo.story import Twist
from office.demo.truth import Truth

BAND_PAINTED_HIGHER, BAND_PAINTED_LOWER = 30.0, -18.0
WARM, COLD = 24.0, 2.5  # °C
FOOT = (
    "foot_distance",
    "The foot is far from the last visit and the boom is the same. Taken from the track or from the mast?",
    "",
)
SWAPPED_AND_ADMITTED = (
    "foot_distance",
    "Two digits look exchanged. Is it so in your book?",
    "It is; taken again at the boat and amended.",
)
ISLAND = "No other measurer can reach the island before the season."
DAMAGED = "The owner reports the mast damaged; to be measured again after the repair."
BENT = "The boom is bent after a collision; to be looked at before she races again."
NEW_FORESTAY = "New forestay from the rigger, a turnbuckle longer than the old one."
WHICH_YARD = (
    "“The yard”, where she was measured, is the one on the harbour's north quay.",
    "The harbour has two yards, and the owner asked which of them is meant.",
)
WRONG_BUILDER = "The builder's name was wrong on the first one."


def painted_higher(truth: Truth) -> None:
    truth.move_band("main", BAND_PAINTED_HIGHER)


def painted_lower(truth: Truth) -> None:
    truth.move_band("main", BAND_PAINTED_LOWER)


def recut_upper_band(truth: Truth) -> None:
    """The upper band went up with a new mainsail; nothing else moved."""
    truth.lengths["luff_between_bands", "main", ""] += 22.0


@dataclass(frozen=True, slots=True)
class Latest:
    """A boat's latest visit: where it stands today, how many days ago (negative: still to come), by whom."""

    end: str
    days_ago: int
    measurer: str
    twist: Twist = field(default_factory=Twist)


# One for each of the first boats, in the fleet's order.
LATEST: tuple[Latest, ...] = (
    Latest("signed", 3, "measurer", Twist(before=painted_higher)),
    Latest("signed", 4, "measurer2", Twist(written={"foretriangle_base": "{swapped}"})),
    Latest("certified", 70, "measurer", Twist(new_rig=new_mast, amended=WHICH_YARD)),
    Latest("signed", 5, "measurer3", Twist(air=COLD)),
    Latest("signed", 2, "measurer4"),  # with a tape whose calibration is overdue
    Latest("under_review", 6, "measurer", Twist(methods=("two_mark",))),
    Latest("under_review", 7, "measurer2", Twist(before=recut_upper_band)),
    Latest(
        "returned", 9, "measurer",
        Twist(written={"pole_length": "1{text}", "foot_distance": "{swapped}"}, question=FOOT),
    ),
    Latest(
        "certified", 60, "measurer2", Twist(written={"foot_distance": "{swapped}"}, question=SWAPPED_AND_ADMITTED)
    ),
    Latest("draft", 1, "measurer", Twist(share=0.45)),
    Latest("draft", 2, "measurer2", Twist(share=0.8)),
    Latest("planned", -4, "measurer"),
    Latest("planned", -4, "measurer"),
    Latest("planned", -9, "measurer2"),
    Latest("asked_for", -30, "measurer"),
    Latest("asked_for", -28, "measurer", Twist(first=True)),
    Latest("called_off", 12, "measurer3"),
    Latest("accepted", 8, "measurer2"),
    Latest("accepted", 10, "measurer", Twist(methods=("string",))),
    Latest("certified", 90, "measurer4", Twist(exception=ISLAND)),
    Latest("certified", 100, "measurer", Twist(withdrawn=DAMAGED)),
    Latest("certified", 110, "measurer2", Twist(correction=WRONG_BUILDER)),
    Latest("certified", 95, "measurer3", Twist(in_feet=True, suspended=BENT)),
    Latest("certified", 120, "measurer2", Twist(before=painted_lower, declared=("rig_changed", NEW_FORESTAY))),
    Latest("certified", 14, "measurer3", Twist(begins_later=45)),
)  # fmt: skip
