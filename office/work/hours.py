"""Hours of the day as settings give them."""

from __future__ import annotations

import datetime as dt


def hour_of(text: str) -> dt.time | None:
    """ "03:00" as an hour; "off" as none. Raises ValueError with what was expected."""
    if text.strip().lower() in {"off", "0", ""}:
        return None
    try:
        return dt.datetime.strptime(text.strip(), "%H:%M").time()  # noqa: DTZ007  (an hour of whichever day)
    except ValueError:
        raise ValueError(f"“{text}” is no hour; expected one like 03:00, or off.") from None
