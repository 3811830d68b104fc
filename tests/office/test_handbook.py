"""The handbook names tests as proof: each of them exists."""

from __future__ import annotations

import re

import pytest

from office import environment

NAMED = re.compile(r"`(tests/[\w/.]+?)(?:::(test_\w+))?`")
TEXT = (environment.ROOT / "DEVELOPERS.md").read_text()
PROOFS = sorted({(path, test) for path, test in NAMED.findall(TEXT)})


@pytest.mark.parametrize(("path", "test"), PROOFS)
def test_a_named_test_exists(path: str, test: str) -> None:
    assert (environment.ROOT / path).exists()
    if test:
        assert re.search(rf"def {test}\(", (environment.ROOT / path).read_text())


def test_every_row_of_the_lists_is_there() -> None:
    assert sum(bool(test) for _, test in PROOFS) > 35
    assert re.findall(r"^\| (\d+) \|", TEXT, re.MULTILINE) == [str(number) for number in range(1, 31)]
