"""What an edition of the policy may say. Each problem is one sentence under the field it concerns."""

from __future__ import annotations

import math
from dataclasses import fields
from typing import Any

from computations.catalogue import DIMENSIONS
from computations.inputs import Assumptions
from office.policy.models import Consequence, Unauthorised, ValidityRule
from office.policy.queries import DEFAULT_LIMIT

TAPE_CLASSES = ("I", "II", "III")
ASSUMPTIONS = {field.name: field for field in fields(Assumptions)}


class Problems(ValueError):
    """What is wrong with an edition: field -> sentence."""

    def __init__(self, problems: dict[str, str]) -> None:
        super().__init__(" ".join(problems.values()))
        self.problems = problems


def is_positive(value: object) -> bool:
    return not isinstance(value, bool) and isinstance(value, int | float) and math.isfinite(value) and value > 0


def assumption_problem(name: str, value: object) -> str:
    """Empty, or what is wrong with this value of the field of that name in computations.inputs.Assumptions."""
    if name not in ASSUMPTIONS:
        return f"There is no assumption called “{name}”."
    default = ASSUMPTIONS[name].default
    if isinstance(default, bool):
        return "" if isinstance(value, bool) else f"“{name}” is yes or no."
    if isinstance(default, str):
        return "" if value in TAPE_CLASSES else f"“{name}” is one of {', '.join(TAPE_CLASSES)}."
    return "" if is_positive(value) else f"“{name}” must be a number greater than 0; found {value!r}."


def limit_problem(slug: str, value: object) -> str:
    """Empty, or what is wrong with this least change that matters."""
    if slug != DEFAULT_LIMIT and slug not in DIMENSIONS:
        return f"There is no dimension called “{slug}”."
    return "" if is_positive(value) else f"The limit of “{slug}” must be a number greater than 0; found {value!r}."


def reminder_problem(text: str) -> str:
    """Empty, or what is wrong with the stages of reminders."""
    parts = [part.strip() for part in text.split(",") if part.strip()]
    if len(text) <= 40 and all(part.isascii() and part.isdigit() and 1 <= int(part) <= 366 for part in parts):
        return ""
    return f"Reminders go out some days before the end: whole numbers from 1 to 366 with commas; found “{text[:60]}”."


def consequence_problem(value: object) -> str:
    return "" if value in Consequence.values else f"A declaration does one of {', '.join(Consequence.values)}."


def check(values: dict[str, Any]) -> None:
    """Raises Problems unless an edition may say these values; `values` holds every field that an edition states."""
    found = {
        "office_name": "" if values["office_name"].strip() else "The office needs a name.",
        "validity_rule": ""
        if values["validity_rule"] in ValidityRule.values
        else f"The rule of validity is one of {', '.join(ValidityRule.values)}.",
        "validity_months": ""
        if isinstance(values["validity_months"], int) and 1 <= values["validity_months"] <= 120
        else "The number of months is a whole number from 1 to 120.",
        "number_prefix": ""
        if values["number_prefix"].isascii() and values["number_prefix"].isalnum() and len(values["number_prefix"]) <= 8
        else "A certificate number begins with 1 to 8 letters or digits.",
        "renewal_months": ""
        if isinstance(values["renewal_months"], int) and 0 <= values["renewal_months"] <= 120
        else "The number of months is a whole number from 0 to 120; 0 renews nothing without a new visit.",
        "reminder_days": reminder_problem(values["reminder_days"]),
        **{name: consequence_problem(values[name]) for name in ("on_sold", "on_rig_changed", "on_mast_damaged")},
        "on_unauthorised": ""
        if values["on_unauthorised"] in Unauthorised.values
        else f"A missing authorisation does one of {', '.join(Unauthorised.values)}.",
        "accreditation": ""
        if len(values["accreditation"]) <= 60 and not any(sign in values["accreditation"] for sign in "\n\r\0")
        else "The accreditation number is at most 60 signs on one line.",
        "change_limits": _first(limit_problem, values["change_limits"]),
        "assumptions": _first(assumption_problem, values["assumptions"]),
    }
    problems = {name: sentence for name, sentence in found.items() if sentence}
    if problems:
        raise Problems(problems)


def _first(problem_of: Any, entries: dict[str, object]) -> str:
    return next((sentence for name, value in entries.items() if (sentence := problem_of(name, value))), "")
