"""A tape out of its calibration on the day, and one found to be off later (ISO/IEC 17025:2017, 6.4.7 and 6.4.11, from
memory): the first is said before anybody signs, the second changes no figure that stands under a signature.
"""

from __future__ import annotations

import datetime as dt

from office.certificates import snapshot
from surveys import actions as survey_actions
from surveys.content import still_as_signed
from surveys.figures import derive_visit
from surveys.models import Calibration, Visit
from tests.surveys.makers import CALIBRATED, VISIT_DAY, Stage


def test_a_tape_out_of_its_calibration_on_the_measuring_day_is_said(stage: Stage):
    visit = stage.visit("draft")
    stage.fill(visit)
    assert "calibration_overdue" not in {one.check for one in derive_visit(visit).checks}
    survey_actions.add_calibration(
        by=stage.cast.administrator,
        instrument=stage.kit["T-03"],
        calibrated_on=CALIBRATED + dt.timedelta(days=10),
        due_on=VISIT_DAY - dt.timedelta(days=1),
        error=0.8,
    )
    overdue = [one for one in derive_visit(Visit.objects.get(pk=visit.pk)).checks if one.check == "calibration_overdue"]
    assert len(overdue) == 1
    assert "T-03" in overdue[0].message
    assert (VISIT_DAY - dt.timedelta(days=1)).isoformat() in overdue[0].message


def test_a_factor_found_later_leaves_what_was_signed_as_it_was(stage: Stage, issued):
    stated, text = snapshot.read(issued)["dimensions"], issued.snapshot
    before = Calibration.objects.count()
    survey_actions.add_calibration(
        by=stage.cast.administrator,
        instrument=stage.kit["T-03"],
        calibrated_on=VISIT_DAY + dt.timedelta(days=30),
        due_on=VISIT_DAY + dt.timedelta(days=900),
        error=9.5,
    )
    assert Calibration.objects.count() == before + 1
    visit = Visit.objects.get(pk=issued.visit_id)
    assert still_as_signed(visit)
    issued.refresh_from_db()
    assert issued.snapshot == text
    luff = next(one for one in derive_visit(visit).derivation.dimensions if one.slug == "luff" and one.mast == "main")
    assert luff.value is not None
    assert snapshot.plain_decimal(luff.value, 6) == next(
        row["value_unrounded"] for row in stated if row["slug"] == "luff" and row["mast"] == "main"
    )
