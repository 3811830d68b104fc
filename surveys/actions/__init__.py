"""Every verb of a visit and of an instrument: keyword-only, one transaction, one row of the trail."""

from surveys.actions.absences import mark_absent, take_absence_back
from surveys.actions.conditions import answer_preparation, set_conditions
from surveys.actions.instruments import (
    add_calibration,
    record_instrument,
    record_maintenance,
    suggest_recalibration,
    take_out_of_use,
)
from surveys.actions.planning import (
    ask_for_visit,
    begin_visit,
    call_off_visit,
    follow_rig,
    grant_exception,
    plan_several,
    plan_visit,
)
from surveys.actions.readings import amend_reading, record_reading, undo_reading, withdraw_reading
from surveys.actions.review import (
    accept_visit,
    answer_query,
    ask_query,
    begin_review,
    return_visit,
    settle_query,
)
from surveys.actions.sheets import take_log_sheet
from surveys.actions.signing import note_of_password, settle_check, sign_visit

__all__ = [
    "accept_visit",
    "add_calibration",
    "amend_reading",
    "answer_preparation",
    "answer_query",
    "ask_for_visit",
    "ask_query",
    "begin_review",
    "begin_visit",
    "call_off_visit",
    "follow_rig",
    "grant_exception",
    "mark_absent",
    "note_of_password",
    "plan_several",
    "plan_visit",
    "record_instrument",
    "record_maintenance",
    "record_reading",
    "return_visit",
    "set_conditions",
    "settle_check",
    "settle_query",
    "sign_visit",
    "suggest_recalibration",
    "take_absence_back",
    "take_log_sheet",
    "take_out_of_use",
    "undo_reading",
    "withdraw_reading",
]
