"""Boats, visits and certificates for the tests of this room."""

from __future__ import annotations

import datetime as dt
import itertools
from collections.abc import Callable
from typing import Any

import pytest

from boats.models import Boat
from boats.names import normalise_name, normalise_sail_number
from office.certificates import actions, paper, pdf
from office.certificates.models import Certificate
from surveys.models import Visit
from tests.cast import Cast, cast
from tests.surveys.makers import Stage, record_kit, register_boat

__all__ = ["cast"]

_counter = itertools.count(1)


def make_boat(name: str = "", **fields: Any) -> Boat:
    number = next(_counter)
    name = name or f"Boat {number}"
    sail_number = fields.pop("sail_number", f"QVL {number}")
    normal, digits = normalise_sail_number(sail_number)
    return Boat.objects.create(
        name=name,
        name_normal=normalise_name(name),
        sail_number=sail_number,
        sail_number_normal=normal,
        sail_digits=digits,
        **fields,
    )


@pytest.fixture
def row(cast: Cast) -> Callable[..., Certificate]:
    """Writes the bare row of a certificate, past every rule of the code; a boat of its own unless one is given."""

    def write(**fields: Any) -> Certificate:
        boat = fields.pop("boat", None) or make_boat()
        visit = fields.pop("visit", None) or Visit.objects.create(boat=boat, measurer=cast.measurer)
        given = {
            "number": f"ZZ-2026-{next(_counter):04d}",
            "valid_from": dt.date(2026, 5, 4),
            "valid_until": dt.date(2026, 12, 31),
            "in_force_before": dt.date(2027, 1, 1),
            "issued_at": dt.datetime(2026, 5, 4, 9, 30, tzinfo=dt.UTC),
            "issued_by": cast.certifier,
            "snapshot": "{}",
            "snapshot_sha256": "00" * 32,
            "trail_head": "00" * 32,
        }
        return Certificate.objects.create(boat=boat, visit=visit, **{**given, **fields})

    return write


@pytest.fixture
def stage(cast: Cast) -> Stage:
    return Stage(cast, register_boat(cast), record_kit(cast))


@pytest.fixture
def accepted(stage: Stage) -> Visit:
    """An accepted visit with a whole set of readings."""
    return stage.visit("accepted")


@pytest.fixture
def quick_papers(monkeypatch: pytest.MonkeyPatch) -> None:
    """Papers of a few bytes, for tests that ask about anything but papers; a real one takes a quarter of a second."""

    def render_all(document: dict[str, Any], *_: Any) -> dict[str, bytes]:
        return {size: f"{size} {document['number']}".encode() for size in paper.SIZES}

    monkeypatch.setattr(pdf, "render_all", render_all)


@pytest.fixture
def issued(cast: Cast, accepted: Visit) -> Certificate:
    return actions.issue(by=cast.certifier, visit=accepted)
