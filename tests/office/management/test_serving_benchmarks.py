"""What the benchmarks of serving do, at its smallest: what is measured is what is said."""

from __future__ import annotations

import pytest

from office.audit.models import Entry
from office.certificates import queries
from office.certificates.models import Certificate
from office.management import benchmarks, hands, serving
from office.management.benchmarks import issuing, processes, public
from tests.office.certificates.conftest import quick_papers, stage

pytestmark = pytest.mark.any_database

__all__ = ["quick_papers", "stage"]


@pytest.fixture(autouse=True)
def _files_from_where_they_lie(monkeypatch):
    monkeypatch.setenv("OFFICE_DEBUG", "1")


def test_the_page_of_a_code_is_the_same_kept_or_not(transactional_db):
    (number,) = public.certified(1)
    with serving.running(serving.OFFICE) as office, serving.running(serving.AS_WRITTEN) as as_written:
        answers = [serving.ask(port, public.pages([number], 3)) for port in (office, as_written)]
    kept, written = (answer.partition(b"\r\n\r\n") for answer in answers)
    assert number.encode() in kept[2]
    assert kept[2] == written[2]
    names = [sorted(line.partition(b":")[0] for line in head.split(b"\r\n")) for head in (kept[0], written[0])]
    assert names[0] == names[1]


def test_a_bare_view_says_hello_and_nothing_else():
    with serving.running(serving.BARE) as port:
        assert serving.ask(port, [serving.get("/")] * 5, connections=2).endswith(b"\r\n\r\nhello")
        with pytest.raises(RuntimeError, match="expected 200"):
            serving.ask(port, [serving.get("/elsewhere")])


def test_every_certificate_is_issued_anew_in_place_of_the_one_before(cast, stage, quick_papers):
    visit = stage.visit("accepted")
    assert issuing.issue("boats", "0") == visit.key
    last = issuing.issue(visit.key, "3")
    assert list(Certificate.objects.order_by("pk").values_list("number", flat=True))[-1] == last
    assert len(queries.chain_of(Certificate.objects.get(number=last))) == 3


def test_the_pages_of_an_office_are_all_there(cast, stage, quick_papers, client):
    issuing.issue(stage.visit("accepted").key, "1")
    session, *addresses = processes.pages("pages").split()
    client.cookies["sessionid"] = session
    assert len(addresses) == 9
    for address in addresses:
        answer = client.get(address)
        assert answer.status_code == 200
        assert cast.certifier.name in answer.content.decode()


def test_processes_do_what_they_are_told_and_share_it(transactional_db):
    url = serving.address_of_database()
    with hands.hands(1, url, "office.management.benchmarks.writers", "write") as writers:
        answers = hands.share(writers, ["audited 2", "audited 1"]) + hands.together(writers, "audited 1")
        assert [len(one.split()) for one in answers] == [2, 1, 1]
        with pytest.raises(RuntimeError, match="ended"):
            writers[0].do("nothing 1")
    assert Entry.objects.filter(verb="change_particulars").count() == 4


def test_what_a_function_found_out_itself_counts():
    one = benchmarks.Benchmark(
        "x", "a", "b", lambda: (lambda: benchmarks.Taken(3.0), lambda: benchmarks.Taken(2.0)), at_most=1.6, rounds=3
    )
    assert benchmarks.measure(one).ratio == 1.5
