"""Eight writers at once: nobody is refused, nothing is lost; and on SQLite who waits for the file waits for so long."""

from __future__ import annotations

import contextlib
import threading
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from django.db import OperationalError, connection, connections, transaction

from boats.models import Boat
from office.audit import trail
from office.audit.models import Entry
from office.management.benchmarks import writers
from office.sqlite3.base import Courtesy
from tests.office.racing.test_answers import boat

WRITES = 5

pytestmark = pytest.mark.django_db(transaction=True)


def test_eight_writers_are_never_refused(monkeypatch):
    boats = {f"writer_{number}": boat(f"Writer {number}", f"QUA {number}") for number in range(writers.WRITERS)}
    monkeypatch.setattr(writers, "_boat", lambda: boats[threading.current_thread().name])
    together = threading.Barrier(writers.WRITERS)

    def work() -> str:
        together.wait(10)
        try:
            return writers.write("audited", str(WRITES))
        finally:
            connections.close_all()

    with ThreadPoolExecutor(writers.WRITERS, thread_name_prefix="writer") as threads:
        taken = list(threads.map(lambda _: work(), range(writers.WRITERS)))
    assert [len(one.split()) for one in taken] == [WRITES] * writers.WRITERS
    assert Entry.objects.filter(verb="change_particulars").count() == WRITES * writers.WRITERS
    assert set(Boat.objects.values_list("harbour", flat=True)) == {writers.HARBOURS[0]}
    assert not trail.verify()
    assert writers.slowest(taken) > 0


def held(seconds: float, began: threading.Event) -> None:
    with transaction.atomic():
        trail.hold()
        began.set()
        time.sleep(seconds)
    connections.close_all()


def taking_a_turn() -> None:
    with transaction.atomic():
        trail.hold()


@pytest.mark.parametrize(("patience", "refused"), [(5, False), (0.05, True)])
def test_a_writer_waits_for_its_turn(monkeypatch, patience, refused):
    """On SQLite no longer than the settings say; on PostgreSQL until it comes."""
    began, lite = threading.Event(), connection.vendor == "sqlite"
    if lite:
        monkeypatch.setitem(connection.settings_dict["OPTIONS"], "timeout", patience)
    with ThreadPoolExecutor(1) as other:
        holding = other.submit(held, 0.4, began)
        began.wait(10)
        with pytest.raises(OperationalError, match="locked") if refused and lite else contextlib.nullcontext():
            taking_a_turn()
        holding.result()
    with transaction.atomic():
        boat()
    assert Boat.objects.count() == 1


def test_a_statement_alone_still_waits_as_long():
    """Outside a transaction it is SQLite that waits; its patience is put back after each."""
    with transaction.atomic():
        boat()
    if connection.vendor == "sqlite":
        with connection.cursor() as cursor:
            cursor.execute("PRAGMA busy_timeout")
            assert cursor.fetchone() == (20_000,)
    assert Boat.objects.update(harbour="North quay") == 1


def test_who_has_waited_for_long_goes_first(tmp_path):
    one, other = Courtesy(tmp_path), Courtesy(tmp_path)
    assert not one.is_due()
    assert other.ask()
    assert one.is_due()
    assert not one.ask()
    other.over()
    assert not one.is_due()
    assert one.ask()
    del one  # as where its process ends
    assert other.ask()


def test_the_others_let_whoever_has_waited_for_long_go_first():
    """On SQLite; elsewhere the database itself sees to that."""
    boat()
    if connection.vendor != "sqlite":
        taking_a_turn()
        return
    asking = Courtesy(Path(connection.settings_dict["NAME"]).parent)
    assert asking.ask()
    with ThreadPoolExecutor(1) as pool:
        writing = pool.submit(in_a_thread, taking_a_turn)
        time.sleep(0.3)
        waited = not writing.done()
        asking.over()
        writing.result(10)
    assert waited


def in_a_thread(work: Callable[[], None]) -> None:
    try:
        work()
    finally:
        connections.close_all()
