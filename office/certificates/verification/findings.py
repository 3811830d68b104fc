"""What a walk through the register brings home."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from django.db import InterfaceError, OperationalError

from office.storage.address import StorageAway

CHUNK = 100  # rows held at once; a certificate brings two papers of some tens of kilobytes


@dataclass(frozen=True, slots=True)
class Misfit:
    """Something that does not fit: the thing it is about, and one sentence."""

    subject: str
    sentence: str


def guarded(subject: str, check: Iterator[Misfit]) -> Iterator[Misfit]:
    """What a check finds; where what it reads was altered so far that it breaks the reader, that is the finding."""
    try:
        yield from check
    except (StorageAway, OperationalError, InterfaceError):
        raise  # storage or database is away, which says nothing of the register
    except Exception as error:  # noqa: BLE001  (rows altered behind the office's back may break anything)
        yield Misfit(
            subject,
            f"It cannot be looked at any more ({type(error).__name__}): what it rests on was altered or is gone.",
        )


def parsed(text: str) -> dict[str, Any]:
    """A JSON object, empty where the text is none, or nested deeper than anything of ours."""
    try:
        value = json.loads(text or "{}")
    except (ValueError, RecursionError):
        return {}
    return value if isinstance(value, dict) else {}
