"""Authorisations for methods: given by somebody else, counted by the day, withdrawn with a reason, never removed."""

from __future__ import annotations

import datetime as dt
import json
from typing import Any

import pytest
from django.db import DatabaseError, connection, transaction
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from office.audit import triggers
from office.audit.models import Entry
from office.audit.refusals import NotAllowed, Refusal, WrongState
from office.certificates.verification.authorisations import check_all
from office.people import authorisations
from office.people.actions import roles
from office.people.authorisation_models import KINDS_OF_WORK
from office.people.models import Authorisation, Person
from tests.cast import Cast

SINCE, UNTIL = dt.date(2024, 3, 1), dt.date(2024, 10, 31)
GROUNDS = {"grounds": "witnessed", "evidence": "The visit to Quiet Margin, with Teo Varga."}


def granted(cast: Cast, **more: Any) -> Authorisation:
    given = {"person": cast.measurer, "methods": ["string"], "since": SINCE, "until": UNTIL, **GROUNDS, **more}
    return authorisations.grant(by=cast.administrator, **given)[0]


def withdrawn(cast: Cast, one: Authorisation, day: dt.date, reason: str = "Two readings in ten were misread.") -> Any:
    return authorisations.withdraw(by=cast.administrator, authorisation=one, withdrawn_from=day, reason=reason)


def has(person: Person, day: dt.date, method: str = "string") -> bool:
    return authorisations.lacking(person, [method], day) == []


def day(text: str) -> dt.date:
    return dt.date.fromisoformat(text)


def test_it_holds_from_its_first_day_to_its_last(cast: Cast):
    granted(cast)
    held = [has(cast.measurer, day(one)) for one in ("2024-02-29", "2024-03-01", "2024-10-31", "2024-11-01")]
    assert held == [False, True, True, False]
    assert not has(cast.measurer, SINCE, "two_mark")
    assert not has(cast.second_measurer, SINCE)


def test_without_a_last_day_it_holds_until_it_is_withdrawn(cast: Cast):
    one = granted(cast, until=None)
    assert has(cast.measurer, day("2031-01-01"))
    withdrawn(cast, one, day("2025-06-01"))
    assert [has(cast.measurer, day(one)) for one in ("2025-05-31", "2025-06-01")] == [True, False]
    assert authorisations.days_in_words(Authorisation.objects.get()) == "from 2024-03-01 to 2025-05-31"


def test_the_trail_tells_both_steps_without_a_name(cast: Cast):
    withdrawn(cast, granted(cast), day("2024-06-01"))
    first, last = Entry.objects.order_by("number")
    assert (first.verb, first.subject, first.subject_label) == ("grant_authorisation", cast.measurer.key, "")
    told = json.loads(first.after)
    assert (told["method"], told["since"], told["until"], told["grounds"]) == (
        "string", "2024-03-01", "2024-10-31", "witnessed",
    )  # fmt: skip
    assert len(told["row_sha256"]) == 64
    assert (last.verb, last.reason) == ("withdraw_authorisation", "Two readings in ten were misread.")
    assert json.loads(last.after)["withdrawn_from"] == "2024-06-01"


def test_nobody_but_an_administrator_and_nobody_for_themselves(cast: Cast):
    one = granted(cast)
    roles.give_role(by=cast.administrator, person=cast.administrator, role="measurer")
    given: dict[str, Any] = {"methods": ["tape"], "since": SINCE, "until": None, **GROUNDS}
    for part, person in cast.people().items():
        sentence = "authorises themselves" if part == "administrator" else "Only an administrator"
        with pytest.raises(NotAllowed, match=sentence):
            authorisations.grant(by=person, person=person, **given)
        if part != "administrator":
            with pytest.raises(NotAllowed, match="Only an administrator"):
                authorisations.withdraw(by=person, authorisation=one, withdrawn_from=SINCE, reason="x")
    assert Authorisation.objects.count() == 1


def test_a_second_click_and_days_that_overlap(cast: Cast):
    first = granted(cast)
    for since, until in ((SINCE, UNTIL), (UNTIL, None), (day("2023-01-01"), SINCE)):
        with pytest.raises(WrongState, match="authorised already"):
            granted(cast, since=since, until=until)
    granted(cast, since=day("2024-11-01"), until=None)
    withdrawn(cast, first, day("2024-06-01"))
    with pytest.raises(WrongState, match="withdrawn already"):
        withdrawn(cast, first, day("2024-06-01"))
    granted(cast, since=day("2024-06-01"), until=day("2024-10-31"))
    assert Authorisation.objects.count() == 3


@pytest.mark.parametrize(
    ("wrong", "sentence"),
    [
        ({"methods": []}, "at least one"),
        ({"methods": ["laser"]}, "that the office knows"),
        ({"evidence": "  "}, "what it rests on"),
        ({"until": day("2024-02-01")}, "before the first"),
        ({"since": day("1024-03-01")}, "before the first"),
    ],
)
def test_what_cannot_be(cast: Cast, wrong: dict[str, Any], sentence: str):
    with pytest.raises(Refusal, match=sentence):
        granted(cast, **wrong)
    assert not Authorisation.objects.exists()


def test_it_is_withdrawn_from_one_of_its_days_and_with_a_reason(cast: Cast):
    one, ahead = granted(cast), granted(cast, methods=["tape"], since=day("2999-01-01"), until=None)
    for wrong in ("2024-02-29", "2024-11-01"):
        with pytest.raises(Refusal, match="from 2024-03-01 to 2024-10-31"):
            withdrawn(cast, one, day(wrong))
    with pytest.raises(Refusal, match="reason"):
        withdrawn(cast, one, SINCE, " ")
    withdrawn(cast, ahead, day("2999-01-01"))
    assert not has(cast.measurer, day("2999-01-02"), "tape")


def test_a_disabled_person_gets_none(cast: Cast):
    roles.disable(by=cast.administrator, person=cast.measurer, reason="left")
    with pytest.raises(WrongState, match="disabled"):
        granted(cast)


def test_the_database_keeps_it_as_it_is(cast: Cast):
    one = granted(cast)
    for change in ({"until": None}, {"method": "tape"}, {"evidence": "x"}):
        with pytest.raises(DatabaseError), transaction.atomic():
            Authorisation.objects.filter(pk=one.pk).update(**change)
    with pytest.raises(DatabaseError), transaction.atomic():
        Authorisation.objects.all()._raw_delete("default")


def test_the_register_is_held_against_the_trail(cast: Cast):
    one, two = granted(cast), granted(cast, methods=["tape"])
    withdrawn(cast, two, day("2024-06-01"))
    assert findings() == []
    changes: list[tuple[Authorisation, dict[str, Any], str]] = [
        (one, {"until": None}, "tells otherwise"),
        (one, {"person": cast.reviewer}, "tells otherwise"),
        (one, {"withdrawal_reason": "x"}, "stands, but says"),
        (two, {"withdrawn_from": None}, "differ on whether"),
        (two, {"withdrawal_reason": "x"}, "how the authorisation"),
    ]
    with triggers.set_aside(connection):
        for row, change, sentence in changes:
            with transaction.atomic():
                Authorisation.objects.filter(pk=row.pk).update(**change)
                assert [sentence in one and row.key in one for one in findings()] == [True], change
                transaction.set_rollback(True)
        with transaction.atomic():
            Authorisation.objects.filter(pk=one.pk)._raw_delete("default")
            assert [one.key in found and "is not there" in found for found in findings()] == [True]
            transaction.set_rollback(True)


def findings() -> list[str]:
    return [one.sentence for one in check_all()]


# ---- Pages ----


def as_(person: Person) -> Client:
    client = Client()
    client.force_login(person)
    return client


def test_given_withdrawn_and_read_on_the_persons_page(cast: Cast):
    client, page = as_(cast.administrator), reverse("people:person", args=[cast.measurer.key])
    typed = {"methods": ["string", "review"], "since": "2024-03-01", "until": "", **GROUNDS}
    address = reverse("people:authorise", args=[cast.measurer.key])
    assert client.post(address, {**typed, "evidence": ""}).status_code == 422
    assert client.post(address, {**typed, "methods": ["laser"]}).status_code == 422
    assert client.post(address, {**typed, "until": "2024-02-01"}).status_code == 422
    assert client.post(address, typed).headers["Location"] == page
    text = client.get(page).content.decode()
    for words in (
        "Review of visits",
        "by the string",
        "A visit witnessed by the office",
        "with Teo Varga",
        "Ada Stein",
    ):
        assert words in text
    one = Authorisation.objects.get(method="string")
    step = reverse("people:withdraw_authorisation", args=[one.key])
    today = timezone.localdate().isoformat()
    assert client.post(step, {"withdrawn_from": today, "reason": ""}).status_code == 422
    assert client.post(step, {"withdrawn_from": "2999-01-01", "reason": "x"}).status_code == 422
    assert client.post(step, {"withdrawn_from": today, "reason": "Misread <twice>."}).headers["Location"] == page
    assert "Misread &lt;twice&gt;." in client.get(page).content.decode()
    assert client.post(step, {"withdrawn_from": today, "reason": "Again."}).status_code == 422


def test_people_see_their_own(cast: Cast):
    granted(cast)
    assert "by the string" in as_(cast.measurer).get(reverse("people:account")).content.decode()
    assert "by the string" not in as_(cast.second_measurer).get(reverse("people:account")).content.decode()


def test_the_form_offers_every_method_and_none_for_oneself(cast: Cast):
    client = as_(cast.administrator)
    text = client.get(reverse("people:authorise", args=[cast.measurer.key])).content.decode()
    assert all(words in text for words in KINDS_OF_WORK.values())
    assert client.get(reverse("people:authorise", args=[cast.administrator.key])).status_code == 403
