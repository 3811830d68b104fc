"""What is loaded when a process begins to serve stays out of the collector's rounds."""

from __future__ import annotations

import gc

import pytest

from office import memory


@pytest.fixture
def thawed():
    yield
    gc.unfreeze()


def test_what_is_loaded_is_set_aside(thawed):
    before = gc.get_freeze_count()
    kept: list[dict[str, str]] = [{}]
    memory.settle()
    assert gc.get_freeze_count() > before + 10_000
    assert not any(one is kept for one in gc.get_objects())
