"""Boats for the tests of this storey."""

from __future__ import annotations

import datetime as dt

import pytest

from boats import actions
from boats.models import Boat, Design, Rig
from tests.cast import Cast


@pytest.fixture
def design(cast: Cast) -> Design:
    return actions.add_design(by=cast.administrator, name="Tern 31", designer="A. Nybro")


@pytest.fixture
def boat(cast: Cast, design: Design) -> Boat:
    return actions.register_boat(
        by=cast.administrator,
        name="Sea Lark",
        sail_number="QUA 0117",
        hin="QU-TRN00042D424",
        design=design,
        builder="Slipway Nine",
        year=2024,
        harbour="Westhaven",
    )


@pytest.fixture
def rig(cast: Cast, boat: Boat) -> Rig:
    return actions.describe_rig(
        by=cast.administrator,
        boat=boat,
        since=dt.date(2025, 4, 1),
        rig_type="sloop",
        masts=[
            {
                "name": "main",
                "material": "aluminium",
                "spreader_pairs": 2,
                "mast_identification": "M-301",
                "boom_identification": "B-88",
            }
        ],
        pole_identification="P-12",
    )
