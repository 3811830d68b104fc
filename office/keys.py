"""The keys under which things stand in addresses."""

from __future__ import annotations

import secrets


def new_key() -> str:
    """A stable public identifier: 12 random bytes, safe in addresses."""
    return secrets.token_urlsafe(12)
