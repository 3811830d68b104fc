"""Refusals: one human sentence each, the same for the greyed button and for the page that says no."""

from __future__ import annotations


class Refusal(Exception):
    """Something that may not be done; the text is one sentence a person understands."""

    status = 409


class NotAllowed(Refusal):
    """The person may not."""

    status = 403


class WrongState(Refusal):
    """The thing's state does not allow it."""


class Stale(Refusal):
    """Somebody else changed the thing since the form was made."""
