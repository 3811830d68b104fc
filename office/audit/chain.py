"""How rows of the trail are bound to each other: the canonical form of a row, and its hash."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from json.encoder import encode_basestring as quoted  # the escapes of RFC 8785, 3.2.2.2; a test holds it to that
from typing import Any

# What the first row follows.
GENESIS = hashlib.sha256(b"the trail of a rig measurement office begins here").hexdigest()

# The fields under a row's hash, in the order of RFC 8785, 3.2.3. All are strings but the number.
HASHED = (
    "actor", "after", "at", "before", "boat", "certificate", "number", "previous_hash", "reason", "role", "subject",
    "subject_kind", "subject_label", "verb", "visit",
)  # fmt: skip
COLUMNS = (*HASHED, "hash")
NUMBER, PREVIOUS, HASH = (COLUMNS.index(name) for name in ("number", "previous_hash", "hash"))

_LAYOUT = "{" + ",".join(f'"{name}":%s' for name in HASHED) + "}"


def canonical(values: Sequence[Any]) -> str:
    """The RFC 8785 form of a row, given its values in the order of HASHED; what follows them is left out.

    The layout of a row never varies, so it is filled in instead of built anew: checking the whole trail hangs on it.
    """
    texts = map(quoted, values[NUMBER + 1 : len(HASHED)])
    return _LAYOUT % (*map(quoted, values[:NUMBER]), values[NUMBER], *texts)


def hash_of(values: Sequence[Any]) -> str:
    """SHA-256, in hexadecimal, of the canonical form of a row."""
    return hashlib.sha256(canonical(values).encode()).hexdigest()
