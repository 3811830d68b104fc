"""Pages of complaints: the register and its export, one matter's steps, the owner's side, the office's first page."""

from __future__ import annotations

import datetime as dt
import html
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from office.audit.refusals import WrongState
from office.complaints import actions
from office.complaints.models import Complaint
from office.desk.personal import check_nothing_needs, document_of
from office.people.models import Person
from surveys.models import Visit
from tests.cast import Cast
from tests.office.complaints.makers import WORDS, Matter
from tests.surveys.makers import register_boat

pytestmark = pytest.mark.any_database


@pytest.fixture
def matter(cast: Cast) -> Matter:
    return Matter(cast)


def as_(person: Person) -> Client:
    client = Client()
    client.force_login(person)
    return client


def text_of(client: Client, name: str, *parts: str, **query: str) -> str:
    answer = client.get(reverse(name, args=parts), query)
    assert answer.status_code == 200
    return html.unescape(answer.content.decode())


def step(client: Client, name: str, one: Complaint, **typed: Any) -> int:
    edition = Complaint.objects.get(pk=one.pk).edition
    return client.post(reverse(f"complaints:{name}", args=[one.key]), {"edition": edition, **typed}).status_code


def test_recorded_and_brought_to_its_end_on_the_pages(matter: Matter) -> None:
    cast, today = matter.cast, timezone.localdate().isoformat()
    client, number = as_(cast.administrator), matter.certificate.number
    typed = {
        "kind": "complaint",
        "received_on": today,
        "text": f"{WORDS} <b>",
        "name": "Wendel Carrick",
        "contact": "Quay",
    }
    receive = reverse("complaints:receive")
    for wrong in (
        {"text": ""}, {"certificate": "ZZ-1"}, {"boat": "QQQ 9"}, {"instrument": "X-1"}, {"visit_day": today},
        {"name": ""}, {"received_on": "2999-01-01"}, {"kind": "praise"}, {"concerned": "nobody"},
    ):  # fmt: skip
        assert client.post(receive, {**typed, **wrong}).status_code == 422, wrong
    assert not Complaint.objects.exists()
    assert client.post(receive, {**typed, "certificate": number.lower()}).status_code == 302
    one = Complaint.objects.get()
    assert one.certificate == matter.certificate
    page = text_of(client, "complaints:complaint", one.key)
    for words in ("Wendel Carrick, Quay", number, "Acknowledge", "Certificates in question"):
        assert words in page
    raw = client.get(reverse("complaints:complaint", args=[one.key])).content.decode()
    assert "&lt;b&gt;" in raw
    assert "Give it to somebody" not in page
    assert step(client, "acknowledge", one, acknowledged_on="2999-01-01") == 422
    assert step(client, "acknowledge", one, acknowledged_on=today) == 302
    kept_out = text_of(client, "complaints:assign", one.key)
    assert "Ines Holm reviewed the visit in question" in kept_out
    assert client.post(
        reverse("complaints:assign", args=[one.key]), {"investigator": cast.reviewer.key}
    ).status_code == 403  # fmt: skip
    assert step(client, "assign", one, investigator=cast.administrator.key) == 302
    assert step(client, "about", one, boat="SKE 214", visit_day=today, concerned=cast.measurer.key) == 302
    named = Complaint.objects.get()
    assert (named.visit, named.certificate, named.concerned) == (matter.certificate.visit, None, cast.measurer)
    assert step(client, "note", one, text="Rang up.") == 302
    assert step(client, "consequence", one, certificate=number) == 422
    assert step(client, "consequence", one, certificate=matter.suspended.number) == 302
    assert step(client, "decide", one, findings="It was so.", outcome="acceptable") == 422
    assert step(client, "decide", one, findings="It was so.", outcome="justified", measures="Measured again.") == 302
    assert step(client, "close", one, told_on="", told_how="By letter.") == 422
    assert step(client, "close", one, told_on=today, told_how="By letter.") == 302
    page = text_of(client, "complaints:complaint", one.key)
    for words in ("Justified", "Measured again.", "Rang up.", f"noted that {matter.suspended.number} was suspended"):
        assert words in page
    assert step(client, "remove_name", one, reason="He asked.") == 302
    assert "name removed" in text_of(client, "complaints:complaint", one.key)
    assert step(client, "again", one, reason="More came.") == 302
    assert "took it up again: More came." in text_of(client, "complaints:complaint", one.key)


def test_the_usual_next_step_is_marked_and_a_part_that_bars_is_told(matter: Matter) -> None:
    cast, one = matter.cast, matter.received()

    def seen_by(person: Person) -> tuple[list[str], str]:
        context = as_(person).get(reverse("complaints:complaint", args=[one.key])).context
        return [each.label for each in context["steps"] if each.first], context["why_not_decide"]

    assert seen_by(cast.reviewer) == (["Acknowledge"], "")
    matter.brought_to("acknowledged", one)
    assert seen_by(cast.reviewer) == (["Give it to somebody"], "")
    one.refresh_from_db()
    actions.assign(by=cast.certifier, complaint=one, investigator=cast.reviewer)
    assert seen_by(cast.reviewer) == (["Decide"], "")
    assert seen_by(cast.certifier) == ([], "")
    actions.name_subject(by=cast.certifier, complaint=one, certificate=matter.certificate)
    barred = f"{cast.reviewer.name} reviewed the visit in question; somebody else looks into it."
    assert seen_by(cast.reviewer) == ([], barred)
    assert barred in text_of(as_(cast.administrator), "complaints:complaint", one.key)


def test_a_stale_form_comes_back_with_what_was_typed(matter: Matter) -> None:
    one = matter.received()
    answer = as_(matter.cast.reviewer).post(
        reverse("complaints:acknowledge", args=[one.key]), {"edition": one.edition + 1, "acknowledged_on": "2026-01-01"}
    )
    assert answer.status_code == 422
    assert "has been changed since" in answer.content.decode()


def test_a_known_address_makes_it_that_persons(matter: Matter) -> None:
    typed = {
        "kind": "complaint", "received_on": timezone.localdate().isoformat(), "text": WORDS, "name": "Petra",
        "contact": matter.cast.owner.email.upper(),
    }  # fmt: skip
    assert as_(matter.cast.reviewer).post(reverse("complaints:receive"), typed).status_code == 302
    one = Complaint.objects.get()
    assert (one.complainant, one.complainant_name, one.complainant_contact) == (matter.cast.owner, "", "")


def test_a_measurer_reports_wrong_work_and_sees_its_course(matter: Matter) -> None:
    cast, visit = matter.cast, matter.certificate.visit
    client, report = as_(cast.measurer), reverse("complaints:report", args=[visit.key])
    assert report in text_of(client, "surveys:visit", visit.key)
    assert report not in text_of(as_(cast.owner), "surveys:visit", visit.key)
    assert client.post(report, {"text": " "}).status_code == 422
    assert client.post(report, {"text": WORDS, "instrument": "S-01"}).status_code == 422
    assert not Complaint.objects.exists()
    assert client.post(report, {"text": f"{WORDS} <b>"}).headers["Location"] == reverse("complaints:own")
    assert client.post(report, {"text": f"{WORDS} <b>"}).status_code == 422
    one = Complaint.objects.get()
    assert WORDS in text_of(client, "complaints:own")
    told = text_of(client, "complaints:course", one.key)
    assert f"{WORDS} &lt;b&gt;" in client.get(reverse("complaints:course", args=[one.key])).content.decode()
    assert "acknowledge" not in told
    by = cast.administrator
    actions.assign(by=cast.reviewer, complaint=one, investigator=by)
    actions.decide(by=by, complaint=one, outcome="not_acceptable", findings="Kinked at 4 m.", measures="Read again.")
    assert "Decided." in text_of(client, "complaints:course", one.key)
    assert "Kinked" not in text_of(client, "complaints:course", one.key)
    actions.close(by=by, complaint=one, told_on=None, told_how="The measurer was rung up.")
    assert "Kinked at 4 m." in text_of(client, "complaints:course", one.key)


def test_an_owner_sends_one_and_sees_its_course(matter: Matter) -> None:
    cast, boat = matter.cast, matter.certificate.boat
    client, number = as_(cast.owner), matter.certificate.number
    send = reverse("complaints:send", args=[boat.key])
    assert "Complain to the office" in text_of(client, "desk:boat", boat.key)
    form = text_of(client, "complaints:send", boat.key, about=number)
    assert f'value="{number}" selected' in form
    assert client.post(send, {"about": number, "text": " "}).status_code == 422
    assert client.post(send, {"about": matter.suspended.number, "text": WORDS}).status_code == 422
    assert client.post(send, {"about": number, "text": WORDS}).headers["Location"] == reverse("complaints:own")
    assert client.post(send, {"about": number, "text": WORDS}).status_code == 422
    one = Complaint.objects.get()
    assert one.certificate == matter.certificate
    assert WORDS in text_of(client, "complaints:own")
    assert "Petra Skau sent it" in text_of(as_(cast.reviewer), "complaints:complaint", one.key)
    assert WORDS not in text_of(as_(cast.other_owner), "complaints:own")
    matter.brought_to("decided", one)
    actions.note(by=cast.administrator, complaint=one, text="He rang up twice.")
    page = text_of(client, "complaints:course", one.key)
    assert "Decided; you will be told." in page
    assert "agrees with the certificate" not in page
    matter.brought_to("closed", one)
    page = text_of(client, "complaints:course", one.key)
    assert "Not justified" in page
    assert "agrees with the certificate" in page
    for hidden in ("He rang up twice.", "Ada Stein", "By telephone"):
        assert hidden not in page


def test_the_office_sees_open_ones_with_their_age(matter: Matter) -> None:
    client = as_(matter.cast.reviewer)
    assert "None is open." in text_of(client, "home")
    one = matter.received(received_on=timezone.localdate() - dt.timedelta(days=12))
    assert "open for 12 days" in text_of(client, "home")
    assert "complaints" not in as_(matter.cast.measurer).get("/").context
    matter.brought_to("closed", one)
    assert "None is open." in text_of(client, "home")


def test_the_register_is_filtered_sorted_and_taken_away(matter: Matter) -> None:
    client = as_(matter.cast.reviewer)
    matter.brought_to("closed", matter.received(text="An old one.", name="Wendel Carrick"))
    matter.received(text="The scale.", kind="nonconforming", instrument=matter.scale)
    old, scale = "An old one.", "The scale."
    asked: list[tuple[dict[str, str], set[str]]] = [
        ({}, {old, scale}),
        ({"state": "open"}, {scale}),
        ({"state": "closed"}, {old}),
        ({"kind": "nonconforming"}, {scale}),
        ({"q": "s-01"}, {scale}),
        ({"q": "carrick"}, {old}),
        ({"state": "nonsense"}, set()),
        ({"sort": "nonsense"}, {old, scale}),
    ]
    for query, shown in asked:
        page = text_of(client, "complaints:list", **query)
        assert {words for words in ("An old one.", "The scale.") if words in page} == shown, query
    file = client.get(reverse("complaints:export", args=["csv"]), {"state": "closed"}).content.decode()
    assert "Not justified" in file
    for hidden in ("An old one.", "Carrick", "Non-conforming"):
        assert hidden not in file
    assert client.get(reverse("complaints:export", args=["exe"])).status_code == 404


def test_what_is_named_stays_named_where_the_form_is_sent_as_it_came(matter: Matter) -> None:
    """A visit without a day, one that is only planned, and a boat whose number another bears as well."""
    boat, client = matter.certificate.boat, as_(matter.cast.administrator)
    register_boat(matter.cast, "Name Sake", boat.sail_number)
    days: list[dict[str, dt.date]] = [{}, {"planned_on": dt.date(2026, 3, 1)}, {"date": dt.date(2026, 2, 1)}]
    for fields in days:
        visit = Visit.objects.create(boat=boat, **fields)
        if fields:
            Visit.objects.create(boat=boat, **fields)
        one = matter.received(visit=visit, text=f"About {fields}")
        form = client.get(reverse("complaints:about", args=[one.key])).context["form"]
        typed = {name: form[name].value() or "" for name in form.fields} | {"concerned": matter.cast.measurer.key}
        assert step(client, "about", one, **typed) == 302
        one.refresh_from_db()
        assert (one.boat, one.visit, one.concerned) == (boat, visit, matter.cast.measurer), fields
        assert step(client, "about", one, **{**typed, "edition": one.edition, "boat": "SKE 215"}) == (
            422 if fields else 302
        )


def test_a_boat_is_named_by_her_own_number_first(matter: Matter) -> None:
    client = as_(matter.cast.administrator)
    for name, number in (("One", "QAA 77"), ("Two", "QBB 77"), ("Three", "77")):
        register_boat(matter.cast, name, number)
    typed = {"kind": "nonconforming", "received_on": timezone.localdate().isoformat(), "text": WORDS}
    receive = reverse("complaints:receive")
    for number in ("?", "QCC 77"):
        assert client.post(receive, {**typed, "boat": number}).status_code == 422, number
    assert client.post(receive, {**typed, "boat": "77"}).status_code == 302
    assert str(Complaint.objects.get().boat) == "Three (77)"
    assert 'value="SKE 214"' in text_of(client, "complaints:receive", boat="SKE 214")
    page = text_of(client, "desk:boat", matter.certificate.boat.key)
    assert f"{receive}?boat=SKE%20214" in page
    assert reverse("complaints:own") in text_of(as_(matter.cast.measurer), "people:account")


def test_from_certificate_visit_and_instrument(matter: Matter) -> None:
    """Owners are led from their certificate and visit, the office from certificate and instrument."""
    cast = matter.cast
    send = reverse("complaints:send", args=[matter.certificate.boat.key])
    visit = reverse("surveys:visit", args=[matter.certificate.visit.key])
    assert f"{send}?about={matter.certificate.visit.key}" in as_(cast.owner).get(visit).content.decode()
    assert send not in as_(cast.reviewer).get(visit).content.decode()
    instrument = reverse("instruments:instrument", args=["S-01"])
    assert "?instrument=S-01" in as_(cast.reviewer).get(instrument).content.decode()
    assert 'value="S-01"' in text_of(as_(cast.reviewer), "complaints:receive", instrument="S-01")


# ---- Personal data ----


def test_what_is_kept_of_a_person(matter: Matter) -> None:
    """Who complained takes away what they said; who looked into it takes away no name of an outsider."""
    cast = matter.cast
    own = actions.send(by=cast.owner, boat=matter.certificate.boat, text=WORDS)
    matter.brought_to("looked_into", matter.received(name="Wendel Carrick", contact="the next berth"))
    assert WORDS in str(document_of(cast.owner)["rows"])
    assert "Wendel" not in str(document_of(cast.administrator))
    assert "next berth" not in str(document_of(cast.administrator))
    for person in (cast.owner, cast.administrator):
        with pytest.raises(WrongState, match=r"open complaint|owns"):
            check_nothing_needs(person)
    actions.name_subject(by=cast.reviewer, complaint=own, boat=own.boat, concerned=cast.second_measurer)
    with pytest.raises(WrongState, match="has to do with an open complaint"):
        check_nothing_needs(cast.second_measurer)
    assert WORDS in str(document_of(cast.second_measurer)["rows"])
    assert cast.owner.key not in str(document_of(cast.second_measurer)), "who complained is told to nobody else"
    matter.brought_to("closed", own)
    check_nothing_needs(cast.second_measurer)
