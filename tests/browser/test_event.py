"""A race committee's way in a browser: make an event, paste the list, settle what is unsure, print the report."""

from __future__ import annotations

import datetime as dt
import io
import re
from typing import Any

import pypdf
import pytest
from django.urls import reverse
from django.utils import timezone
from playwright.sync_api import Page, expect

from boats.models import Boat
from boats.particulars import as_columns
from office.racing.models import Event, Settlement
from tests.cast import PASSWORD, make_cast

pytestmark = pytest.mark.django_db(transaction=True)

LIST = "sail_number\tboat\thelm\nSKE 1\tSea Lark\tPetra\nSKE 22\tGrey Plover\tOlaf\nWES 9\tNightjar\t\n"


def test_make_paste_settle_print(
    page: Page, live_server: Any, look: Any, no_axe_violations: Any, fits_a_phone: Any
) -> None:
    cast = make_cast()
    for number, name in (("SKE 1", "Sea Lark"), ("SKE 2", "Grey Plover")):
        Boat.objects.create(**as_columns({"name": name, "sail_number": number}))
    page.goto(live_server.url + reverse("people:sign_in"))
    page.get_by_label("E-mail").fill(cast.race_committee.email)
    page.get_by_label("Password", exact=True).fill(PASSWORD)
    page.get_by_role("button", name="Sign in", exact=True).click()
    page.get_by_role("link", name="Events").click()
    page.get_by_role("link", name="Make an event").click()
    today = timezone.localdate()
    page.get_by_label("Name of the event").fill("Lantern Race")
    page.get_by_label("First day").fill(today.isoformat())
    page.get_by_label("Last day", exact=True).fill((today + dt.timedelta(days=2)).isoformat())
    page.get_by_role("button", name="Make the event").click()
    page.get_by_label("Or pasted").fill(LIST)
    no_axe_violations()
    page.get_by_role("button", name="Check and take the list").click()
    expect(page.get_by_role("heading", name="Lantern Race")).to_be_visible()
    expect(page.get_by_text("1 entry is not sure")).to_be_visible()
    no_axe_violations()
    look("event")
    page.get_by_role("link", name="settle which boats are meant").click()
    page.get_by_role("link", name="Grey Plover").click()
    no_axe_violations()
    fits_a_phone()
    look("event-entry")
    page.get_by_role("button", name=re.compile("It is she.*Grey Plover, SKE 2")).click()
    expect(page.get_by_text("Settled: Grey Plover (SKE 2)")).to_be_visible()
    assert Settlement.objects.get().settled_by == cast.race_committee
    page.get_by_role("link", name="Lantern Race").click()
    expect(page.get_by_text("entry is not sure")).to_have_count(0)
    fits_a_phone()
    report = page.request.get(live_server.url + reverse("events:report", args=[Event.objects.get().key, "pdf"]))
    text = "".join(one.extract_text() for one in pypdf.PdfReader(io.BytesIO(report.body())).pages)
    assert "Lantern Race" in text
    assert "Nightjar" in text
