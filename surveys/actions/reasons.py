"""The reason the trade asks for: given, and short enough to be kept."""

from __future__ import annotations

from surveys.values import Unreadable, seen


def given_reason(reason: str, longest: int = 2000) -> str:
    """The reason, tidy. Raises Unreadable where there is none or too much of it."""
    tidy = reason.strip()
    if not tidy:
        raise Unreadable("Reason", "", "a reason, so that it can be understood later", "reason")
    return seen("Reason", tidy, longest, "reason", lines=True)
