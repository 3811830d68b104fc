"""Whoever alters the trail behind the office's back is found out, row by row."""

from __future__ import annotations

import gc
import tracemalloc
from collections.abc import Callable

import pytest
from django.db import connection

from office.audit import chain, trail, triggers, verification

pytestmark = pytest.mark.django_db


@pytest.fixture
def rows() -> int:
    for number in range(1, 8):
        trail.record(
            by=None,
            verb=f"step {number}",
            subject=trail.Subject("boat", "key", "Grey Plover"),
            before={"figure": number},
            after={"figure": number + 1},
            reason="because",
            boat="key",
        )
    return 7


@pytest.fixture
def tamper() -> Callable[..., None]:
    """Runs statements with the triggers out of the way, then puts them back as a careful forger would."""

    def run(*statements: str) -> None:
        with triggers.set_aside(connection), connection.cursor() as cursor:
            for statement in statements:
                cursor.execute(statement)

    return run


def found() -> list[str]:
    return [str(finding) for finding in trail.verify()]


def test_a_whole_trail_has_no_findings(rows: int):
    assert found() == []


def test_an_empty_trail_has_no_findings():
    assert found() == []


@pytest.mark.parametrize("column", [name for name in chain.HASHED if name not in {"number", "previous_hash"}])
def test_any_altered_field_names_its_row(rows: int, tamper: Callable[..., None], column: str):
    tamper(f"UPDATE audit_entry SET {column} = 'forged' WHERE number = 4")
    assert found() == ["Row 4 was altered: its hash is not that of what it says."]


def test_an_altered_row_with_its_hash_made_anew_breaks_the_next_link(rows: int, tamper: Callable[..., None]):
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT {', '.join(chain.COLUMNS)} FROM audit_entry WHERE number = 4")
        row = list(cursor.fetchone())
    row[chain.COLUMNS.index("reason")] = "forged"
    tamper(f"UPDATE audit_entry SET reason = 'forged', hash = '{chain.hash_of(row)}' WHERE number = 4")
    assert found() == ["Row 5 does not follow row 4: one of them was put there later."]


def test_a_changed_link_is_found(rows: int, tamper: Callable[..., None]):
    tamper(f"UPDATE audit_entry SET previous_hash = '{'0' * 64}' WHERE number = 4")
    assert found() == [
        "Row 4 was altered: its hash is not that of what it says.",
        "Row 4 does not follow row 3: one of them was put there later.",
    ]


def test_a_removed_row_is_missed(rows: int, tamper: Callable[..., None]):
    tamper("DELETE FROM audit_entry WHERE number = 4")
    assert found() == ["Before row 5, row 4 is missing."]


def test_removed_rows_at_the_start_are_missed(rows: int, tamper: Callable[..., None]):
    tamper("DELETE FROM audit_entry WHERE number < 4")
    assert found() == ["Before row 4, rows 1 to 3 are missing."]


def test_a_row_slipped_in_before_the_first_is_found(rows: int, tamper: Callable[..., None]):
    others = ", ".join(name for name in chain.COLUMNS if name not in {"number", "hash"})
    tamper(
        f"INSERT INTO audit_entry (number, hash, {others}) SELECT 0, 'x', {others} FROM audit_entry WHERE number = 1"
    )
    assert "Row 0 was slipped in." in found()


def test_swapped_rows_are_found(rows: int, tamper: Callable[..., None]):
    tamper(
        "UPDATE audit_entry SET number = 100 WHERE number = 3",
        "UPDATE audit_entry SET number = 3 WHERE number = 4",
        "UPDATE audit_entry SET number = 4 WHERE number = 100",
    )
    assert {finding.number for finding in trail.verify()} >= {3, 4}


def test_findings_across_chunks(rows: int, tamper: Callable[..., None], monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(verification, "CHUNK", 2)
    monkeypatch.setattr(verification, "_SELECT", verification._SELECT.replace("LIMIT 2000", "LIMIT 2"))
    reached: list[int] = []
    assert trail.verify(reached.append) == []
    assert reached == [2, 4, 6, 7]
    tamper("DELETE FROM audit_entry WHERE number = 3")
    assert found() == ["Before row 4, row 3 is missing."]


def test_a_trail_wrong_throughout_does_not_fill_the_memory(
    rows: int, tamper: Callable[..., None], monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setattr(verification, "MOST_FINDINGS", 3)
    tamper("UPDATE audit_entry SET reason = 'forged'")
    assert found()[-1] == "The walk ended at row 3: too much does not fit."


def test_memory_does_not_grow_with_the_trail():
    """A trail fifteen times as long: what grew with it would be far above twice the peak, noise is far below."""

    def peak() -> int:
        gc.collect()
        tracemalloc.start()
        assert trail.verify() == []
        size = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        return size

    def grow(rows: int) -> None:
        for _ in range(rows):
            trail.record(by=None, verb="step", subject=trail.Subject("boat", "key", "Grey Plover"))

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(verification, "CHUNK", 100)
        patch.setattr(verification, "_SELECT", verification._SELECT.replace("LIMIT 2000", "LIMIT 100"))
        grow(200)
        peak()
        few = peak()
        grow(2800)
        many = peak()
    assert many < few * 2
