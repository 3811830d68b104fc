"""The large invented office, in small: what was written many times over fits like what was done once."""

from __future__ import annotations

import datetime as dt
import io
from collections import Counter

import pytest
from django.core.management import CommandError, call_command
from django.db import transaction
from django.test import Client
from django.urls import reverse

from boats import near
from boats.models import Boat
from boats.queries import search
from office.audit.models import Entry
from office.certificates.models import Certificate, Document
from office.certificates.numbering import next_number
from office.certificates.verification import invented
from office.certificates.verification.register import check_all
from office.demo.synthetic import loading, names, writing
from office.demo.synthetic.cast import Cast
from office.demo.synthetic.pattern import draw
from office.demo.synthetic.stencils import Words
from office.people.models import Person
from surveys.models import Visit

BOATS, VISITS, AFTER, PAPERS = 9, 2, 4, 1

pytestmark = pytest.mark.usefixtures("no_keys")


def test_a_stencil_fills_its_holes_and_leaves_the_rest() -> None:
    words = Words()
    words.add("QUA 11", 1)
    words.add("QUA 1", 0)
    text = words.stencil('{"100 %s":"QUA 11","b":"QUA 1"}')
    assert text is not None
    assert text.fill(["one", "eleven"]) == '{"100 %s":"eleven","b":"one"}'
    assert words.stencil("nothing of hers") is None


def test_names_are_fit_for_a_register() -> None:
    some = range(0, 100_000, 997)
    assert len({names.sail_number(number) for number in some}) == len(some)
    assert len({names.hull_number(number, "XV-MQX12976C111") for number in some}) == len(some)
    assert all(names.boat_name(number).isascii() and '"' not in names.boat_name(number) for number in some)


def test_a_large_office_fits_in_every_part() -> None:
    loading.load(boats=BOATS, visits=VISITS, papers=PAPERS, after=AFTER)

    assert [str(one) for one in check_all()] == []
    assert (Boat.objects.count(), Visit.objects.count()) == (BOATS, BOATS * VISITS)
    assert Counter(Visit.objects.values_list("state", flat=True)) == {"accepted": 16, "signed": 2}
    sealed = Certificate.objects.filter(seal__isnull=False).count()
    assert (sealed, Document.objects.count()) == (VISITS * PAPERS, 2 * VISITS * PAPERS)
    assert invented.counted() == Certificate.objects.count() - sealed > 0
    told = list(Entry.objects.order_by("number").values_list("at", flat=True))
    assert told == sorted(told)
    _found_and_shown()
    _what_comes_later_is_not_excused()
    with pytest.raises(CommandError, match="There is an office in this database"):
        call_command("load_synthetic", boats=5, stdout=io.StringIO())


def _found_and_shown() -> None:
    boat = Boat.objects.order_by("-pk")[0]
    assert near.bring_up_to_date() == 0
    assert search(Boat.objects.all(), boat.sail_number).get() == boat
    assert boat in search(Boat.objects.all(), boat.name.split()[1])
    client = Client()
    client.force_login(Person.objects.get(email="reviewer@averell.example"))
    waiting = Visit.objects.filter(state="signed")[0]
    number = Certificate.objects.order_by("-pk")[0].number
    for address in (
        reverse("desk:boat", args=[boat.key]),
        reverse("desk:queue"),
        reverse("desk:review", args=[waiting.key]),
        f"/check/c/{number}/",
    ):
        assert client.get(address).status_code == 200, address


def _what_comes_later_is_not_excused() -> None:
    """Only an issue written before the office was called an invented one; and its number is followed by the next."""
    last = Entry.objects.filter(verb="issue_certificate").order_by("-number")[0]
    assert invented.without_papers([last.certificate], last.number) == set()
    assert invented.without_papers([last.certificate], invented.loaded_up_to()) == {last.certificate}
    head, _, running = last.certificate.rpartition("-")
    following = next_number("IB", dt.date(int(head.removeprefix("IB-")), 6, 1))
    assert following == f"{head}-{int(running) + 1:04d}"


@pytest.mark.parametrize(("boats", "visits"), [(0, 3), (names.MOST_BOATS + 1, 3), (5, 0), (5, 99)])
def test_numbers_that_make_no_office(boats: int, visits: int) -> None:
    with pytest.raises(loading.CannotLoad, match="cannot be invented"):
        loading.check(boats, visits)


def test_nothing_is_left_of_the_small_office_and_the_same_seed_makes_the_same_rows() -> None:
    drawn = draw(visits=1, seed=5, boats=2)
    assert not Person.objects.exists()
    assert not Entry.objects.exists()
    written = []
    for _ in range(2):
        with transaction.atomic():
            writing.write(loading.batches(Cast(drawn, 5, seed=5), papers=0))
            written.append(list(Entry.objects.order_by("number").values_list("hash", flat=True)))
            transaction.set_rollback(True)
    assert written[0] == written[1]
    assert written[0]
