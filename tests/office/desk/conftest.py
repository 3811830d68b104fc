from __future__ import annotations

import pytest

from tests.cast import Cast
from tests.surveys.makers import Stage, record_kit, register_boat


@pytest.fixture
def stage(cast: Cast) -> Stage:
    return Stage(cast, register_boat(cast), record_kit(cast))
