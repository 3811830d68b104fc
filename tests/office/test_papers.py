"""How many papers are printed at a time in one process: who writes to the database need not wait behind them all."""

from __future__ import annotations

import threading
from concurrent.futures import ThreadPoolExecutor
from types import SimpleNamespace
from typing import Any

import pytest
from django.db import connection, transaction
from weasyprint.text import fonts

from office import papers
from office.audit.refusals import Refusal


class Presses:
    """Stands for WeasyPrint: printing takes until it is let go, and the most at a time are counted."""

    def __init__(self) -> None:
        self.at_work = self.most = 0
        self.let_go, self.busy, self.lock = threading.Event(), threading.Semaphore(0), threading.Lock()

    def HTML(self, **_: Any) -> Any:  # noqa: N802  (its name there)
        return SimpleNamespace(write_pdf=self.write)

    def write(self, **_: Any) -> bytes:
        with self.lock:
            self.at_work += 1
            self.most = max(self.most, self.at_work)
        self.busy.release()
        assert self.let_go.wait(30)
        with self.lock:
            self.at_work -= 1
        return b"%PDF"


@pytest.fixture
def presses(monkeypatch: pytest.MonkeyPatch) -> Presses:
    made = Presses()
    monkeypatch.setattr(papers, "_weasyprint", lambda: made)
    return made


def printed(html: str = "<p>") -> bytes:
    try:
        return papers.write_pdf(html, identifier=b"x")
    finally:
        connection.close()


SIMPLE = "<!doctype html><html lang=en><title>Luff</title><h1>Luff</h1><p>12.34 m, <b>bold</b> and <i>slanted</i>"


@pytest.fixture
def counted(monkeypatch: pytest.MonkeyPatch) -> list[fonts.FontConfiguration]:
    """Every look at the machine's fonts while the test runs, from none known."""
    made: list[fonts.FontConfiguration] = []

    class Counted(fonts.FontConfiguration):  # type: ignore[misc]
        def __init__(self) -> None:
            super().__init__()
            made.append(self)

    monkeypatch.setattr(fonts, "FontConfiguration", Counted)
    monkeypatch.setattr(papers, "_FONTS", [])
    return made


def test_papers_one_after_another_share_what_is_known_of_the_fonts(counted: list[fonts.FontConfiguration]) -> None:
    """Each look at them would cost memory that is never given back; the bytes are the same."""
    first, *others = [papers.write_pdf(SIMPLE, identifier=b"x", variant="pdf/a-3a") for _ in range(4)]
    assert len(counted) == 1
    assert others == [first] * 3
    papers._FONTS.clear()
    other = papers.write_pdf(SIMPLE.replace("Luff", "Foot"), identifier=b"x")
    assert papers.write_pdf(SIMPLE, identifier=b"x", variant="pdf/a-3a") == first != other
    assert len(counted) == 2


def test_after_a_sign_without_a_font_they_are_looked_for_anew(counted: list[fonts.FontConfiguration]) -> None:
    papers.write_pdf(SIMPLE, identifier=b"x")
    with pytest.raises(Refusal, match="install a font"):
        papers.write_pdf(f"{SIMPLE} \U00012000", identifier=b"x")
    papers.write_pdf(SIMPLE, identifier=b"x")
    assert len(counted) == 2


def test_papers_at_a_time_have_what_is_known_of_the_fonts_for_themselves(
    counted: list[fonts.FontConfiguration],
) -> None:
    with ThreadPoolExecutor(6) as pool:
        made = list(pool.map(lambda _: printed(SIMPLE), range(24)))
    assert made == [made[0]] * 24
    assert 1 <= len(counted) <= papers.AT_ONCE


@pytest.mark.django_db(transaction=True)
def test_two_are_printed_at_a_time(presses: Presses) -> None:
    with ThreadPoolExecutor(6) as pool:
        asked = [pool.submit(printed) for _ in range(6)]
        for _ in range(papers.AT_ONCE):
            assert presses.busy.acquire(timeout=30)
        assert not presses.busy.acquire(timeout=0.2)
        presses.let_go.set()
        assert [one.result(30) for one in asked] == [b"%PDF"] * 6
    assert presses.most == papers.AT_ONCE == 2


@pytest.mark.django_db(transaction=True)
def test_whoever_keeps_others_from_writing_goes_at_once(presses: Presses) -> None:
    def within_a_transaction() -> bytes:
        with transaction.atomic():
            made = papers.write_pdf("<p>", identifier=b"x")
        connection.close()
        return made

    with ThreadPoolExecutor(4) as pool:
        asked = [pool.submit(printed) for _ in range(3)]
        for _ in range(papers.AT_ONCE):
            assert presses.busy.acquire(timeout=30)
        urgent = pool.submit(within_a_transaction)
        assert presses.busy.acquire(timeout=30), "it waits for the others"
        presses.let_go.set()
        assert urgent.result(30) == b"%PDF"
        assert all(one.result(30) for one in asked)
