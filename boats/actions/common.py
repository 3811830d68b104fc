"""What every action of the register shares."""

from __future__ import annotations

from typing import Any

from boats import particulars
from office.audit.refusals import Refusal


def reason_of(text: str) -> str:
    """The reason in one line; it may not be missing."""
    reason = particulars.tidy(text)
    if not reason:
        raise Refusal("A reason is needed: it is kept with the change and read years later.")
    return reason


def cleaned(fields: dict[str, Any]) -> dict[str, Any]:
    try:
        return particulars.cleaned(fields)
    except ValueError as error:
        raise Refusal(str(error)) from error
