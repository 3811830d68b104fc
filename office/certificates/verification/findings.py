"""What a walk through the register brings home."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Any

CHUNK = 100  # rows held at once; a certificate brings two papers of some tens of kilobytes


@dataclass(frozen=True, slots=True)
class Misfit:
    """Something that does not fit: the thing it is about, and one sentence."""

    subject: str
    sentence: str


def parsed(text: str) -> dict[str, Any]:
    """A JSON object, empty where the text is none, or nested deeper than anything of ours."""
    try:
        value = json.loads(text or "{}")
    except (ValueError, RecursionError):
        return {}
    return value if isinstance(value, dict) else {}
