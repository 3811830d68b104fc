"""The name of a row in pages and at the dock: safe in an id, the same from one request to the next."""

from __future__ import annotations

import zlib

from computations.catalogue import READINGS, SIDES, ReadingKind
from computations.inputs import MAST_NAMES
from surveys.models import Visit
from surveys.values import Unreadable

Place = tuple[str, str, str]  # slug, mast, position

NEW, ONE = "new", "one"


def row_key(kind: ReadingKind, mast: str, position: str, *, open_position: bool = False) -> str:
    if open_position:
        place = NEW
    elif kind.named_position:
        place = _hashed(position)
    else:
        place = position or ONE
    return f"{kind.slug}-{mast}-{place}"


def place_of(visit: Visit, key: str, position: str = "") -> Place:
    """The place a row stands for; `position` names the halyard of a row for a new one. Raises Unreadable.

    A named halyard's row carries only a hash, so the name is looked for among all there ever were on this visit.
    """
    slug, mast, place = [*key.split("-"), "", ""][:3]
    kind = READINGS.get(slug)
    if kind is None or mast not in MAST_NAMES or key.count("-") != 2:
        raise Unreadable("Row", key[:80], "a row of this visit's rig", "row")
    if kind.named_position:
        return slug, mast, position.strip() if place == NEW else _named(visit, kind, mast, place, position.strip())
    if place not in (kind.sides or (ONE,)):
        raise Unreadable("Row", key[:80], "a row of this visit's rig", "row")
    return slug, mast, place if place in SIDES else ""


def _named(visit: Visit, kind: ReadingKind, mast: str, place: str, position: str) -> str:
    if position and _hashed(position) == place:
        return position
    known = set(visit.readings.filter(slug=kind.slug, mast=mast).values_list("position", flat=True))
    known |= set(visit.queries.filter(slug=kind.slug, mast=mast).values_list("position", flat=True))
    for name in known:
        if _hashed(name) == place:
            return name
    raise Unreadable(kind.name, place[:20], "a halyard of this visit, or its name", "position")


def _hashed(position: str) -> str:
    return f"h{zlib.crc32(position.encode()):08x}"
