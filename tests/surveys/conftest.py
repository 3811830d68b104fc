from __future__ import annotations

import pytest

from tests.cast import Cast, cast
from tests.surveys.makers import Stage, record_kit, register_boat

__all__ = ["cast"]


@pytest.fixture
def stage(cast: Cast) -> Stage:
    return Stage(cast, register_boat(cast), record_kit(cast))
