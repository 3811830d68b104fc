"""The servers and the client of the benchmarks, at their smallest: what is measured is what is said."""

from __future__ import annotations

import contextlib

import pytest

from office.management import serving
from office.management.benchmarks import public


@pytest.fixture(autouse=True)
def _files_from_where_they_lie(monkeypatch):
    monkeypatch.setenv("OFFICE_DEBUG", "1")


@contextlib.contextmanager
def asking(application: str):
    with serving.running(application) as port, contextlib.closing(serving.Client(port, connections=2)) as client:
        yield client


def test_the_page_of_a_code_is_the_same_kept_or_not(transactional_db):
    (number,) = public.certified(1)
    with asking(serving.OFFICE) as office, asking(serving.AS_WRITTEN) as as_written:
        answers = [client.ask(public.pages([number], 3)) for client in (office, as_written)]
    kept, written = (answer.partition(b"\r\n\r\n") for answer in answers)
    assert number.encode() in kept[2]
    assert kept[2] == written[2]
    names = [sorted(line.partition(b":")[0] for line in head.split(b"\r\n")) for head in (kept[0], written[0])]
    assert names[0] == names[1]


def test_a_bare_view_says_hello_and_nothing_else():
    with asking(serving.BARE) as client:
        assert client.ask([serving.get("/")] * 5).endswith(b"\r\n\r\nhello")
        with pytest.raises(RuntimeError, match="expected 200"):
            client.ask([serving.get("/elsewhere")])
