"""A boat ready to be measured and the way of a visit through its states, for the tests of this storey."""

from __future__ import annotations

import datetime as dt
import io
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from PIL import Image

from boats import actions as boat_actions
from boats.models import Boat
from surveys import actions
from surveys.figures import derive_visit
from surveys.logsheet import LogSheet, read
from surveys.models import Instrument, Visit
from tests.cast import PASSWORD, Cast

SAMPLES = Path(__file__).parent / "samples"
SHEET = SAMPLES / "quiet_margin_2023.csv"
VISIT_DAY = dt.date(2023, 5, 16)
CALIBRATED = dt.date(2022, 11, 5)

KIT = (
    {"identifier": "T-03", "kind": "steel_tape", "accuracy_class": "I", "nominal_length_mm": 30000.0},
    {"identifier": "R-01", "kind": "rule", "accuracy_class": "I", "nominal_length_mm": 2000.0},
    {"identifier": "C-02", "kind": "calliper", "limit_of_error": 0.1, "nominal_length_mm": 300.0},
    {"identifier": "S-01", "kind": "scale", "limit_of_error": 0.2},
)


def register_boat(cast: Cast, name: str = "Quiet Margin", sail_number: str = "SKE 214") -> Boat:
    """A sloop with everything a sloop can have, owned by the cast's owner."""
    boat = boat_actions.register_boat(
        by=cast.administrator, name=name, sail_number=sail_number, harbour="Skerrin Haven"
    )
    boat_actions.describe_rig(
        by=cast.administrator,
        boat=boat,
        since=dt.date(2020, 4, 1),
        rig_type="sloop",
        masts=[{"name": "main", "material": "aluminium", "spreader_pairs": 2, "upper_band": True}],
        spinnaker=True,
        pole=True,
        headsail_foil=None,
    )
    boat_actions.add_owner(by=cast.administrator, boat=boat, person=cast.owner, since=dt.date(2021, 1, 1))
    return boat


def record_kit(cast: Cast) -> dict[str, Instrument]:
    kit = {}
    for piece in KIT:
        instrument = actions.record_instrument(by=cast.administrator, **piece)  # type: ignore[arg-type]
        actions.add_calibration(
            by=cast.administrator,
            instrument=instrument,
            calibrated_on=CALIBRATED,
            due_on=CALIBRATED.replace(year=2030),
            error=0.8 if piece["identifier"] == "T-03" else 0.0,
        )
        kit[instrument.identifier] = instrument
    return kit


def picture(width: int = 40, height: int = 30, kind: str = "JPEG", **more: Any) -> io.BytesIO:
    """A photograph as a phone sends it: a field of one colour with a red corner at the top left."""
    made = Image.new("RGB", (width, height), (40, 90, 160))
    made.paste((200, 30, 30), (0, 0, width // 4, height // 4))
    file = io.BytesIO()
    made.save(file, kind, **more)
    file.seek(0)
    return file


def sheet(path: Path = SHEET) -> LogSheet:
    return read(path.read_bytes(), path.name)


@dataclass
class Stage:
    """The people, the boat and the kit; `visit(state)` brings a new visit that far."""

    cast: Cast
    boat: Boat
    kit: dict[str, Instrument] = field(default_factory=dict)
    stop_key: str = ""

    def visit(self, state: str = "draft") -> Visit:
        made = self._planned(state)
        if state in {"asked_for", "planned", "called_off"}:
            return made
        actions.begin_visit(by=self.cast.measurer, visit=made)
        if state == "draft":
            return made
        self.fill(made)
        self.sign(made)
        if state != "signed":
            actions.begin_review(by=self.cast.reviewer, visit=made)
        if state == "returned":
            actions.ask_query(
                by=self.cast.reviewer,
                visit=made,
                slug="luff_between_bands",
                mast="main",
                position="",
                question="Is this the bottom edge of the upper band?",
            )
            actions.return_visit(by=self.cast.reviewer, visit=made, reason="One question about the luff.")
        if state == "accepted":
            actions.accept_visit(by=self.cast.reviewer, visit=made, edition=made.edition, reason="")
        return made

    def _planned(self, state: str) -> Visit:
        made = actions.ask_for_visit(by=self.cast.owner, boat=self.boat, request="New season.")
        if state == "called_off":
            return actions.call_off_visit(by=self.cast.administrator, visit=made, reason="The boat was sold abroad.")
        if state == "asked_for":
            return made
        return actions.plan_visit(
            by=self.cast.administrator,
            visit=made,
            measurer=self.cast.measurer,
            planned_on=VISIT_DAY,
            harbour="Skerrin Haven",
        )

    def fill(self, visit: Visit) -> None:
        """Everything the sample sheet says, of this boat."""
        actions.take_log_sheet(
            by=self.cast.measurer, visit=visit, sheet=self.of_this_boat(sheet()), filename=SHEET.name
        )

    def of_this_boat(self, given: LogSheet) -> LogSheet:
        named = {"boat": self.boat.name, "sail_number": self.boat.sail_number}
        return LogSheet.of(
            replace(row, value=named[row.item]) if row.record == "visit" and row.item in named else row
            for row in given.rows
        )

    def break_something(self, visit: Visit) -> None:
        """Leave a finding that forbids the signature: the air temperature is not known any more."""
        Visit.objects.filter(pk=visit.pk).update(air_temperature_c=None)
        visit.refresh_from_db()
        self.stop_key = derive_visit(visit).unsettled_stops[0].key

    def sign(self, visit: Visit) -> None:
        actions.sign_visit(by=self.cast.measurer, visit=visit, edition=visit.edition, password=PASSWORD)
