"""What is loaded when a process begins to serve stays out of the collector's rounds."""

from __future__ import annotations

import gc
import os

import pytest

from office import memory
from office.management.commands import serve


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


def test_the_server_starts_with_the_allocator_told(monkeypatch):
    """It becomes the server in its own environment, of which what somebody set stays."""
    started: list[list[str]] = []
    monkeypatch.setattr(os, "execv", lambda program, command: started.append(command))
    monkeypatch.setattr(os, "environ", dict(os.environ) | {"MALLOC_ARENA_MAX": "1"})
    monkeypatch.setattr(os, "chdir", lambda path: None)
    for name in ("refuse_a_taken_port", "count_together", "call_command"):
        monkeypatch.setattr(serve, name, lambda *given, **more: None)
    serve.serve("127.0.0.1", 8000, worker=False)
    assert len(started) == 1
    assert {one: os.environ[one] for one in memory.ALLOCATOR} == memory.ALLOCATOR | {"MALLOC_ARENA_MAX": "1"}
