"""Texts that a page would run: whatever people can be called and can write is shown as it was written, and no more."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from typing import Any

import pytest
from django.db import transaction
from django.test import Client

from boats import actions as boat_actions
from boats.models import Boat, Design
from office.certificates import paper, pdf, snapshot
from office.people.models import Person
from surveys import actions
from surveys.models import Visit
from tests.cast import Cast, make_cast
from tests.office import test_urls_by_role as by_role
from tests.office.test_urls_by_role import TABLE, World
from tests.surveys.makers import Stage, register_boat, sheet

pytestmark = [pytest.mark.django_db, pytest.mark.any_database]


def entering(person: Person) -> Client:
    client = Client()
    client.force_login(person)
    return client


SCRIPT = "<img src=x onerror=alert(1)>\"'&{{ 7|add:7 }}"
TRACE = "<img src=x"


def hostile_boat(cast: Cast) -> Boat:
    """Every text a person can give her is a piece of a page."""
    Person.objects.update(name=SCRIPT)
    for one in cast.people().values():
        one.refresh_from_db()
    boat = register_boat(cast, name=SCRIPT)
    Boat.objects.filter(pk=boat.pk).update(builder=SCRIPT, harbour=SCRIPT, design=Design.objects.create(
        name=SCRIPT, designer=SCRIPT, remark=SCRIPT
    ))  # fmt: skip
    mast = {"name": "main", "material": "aluminium", "spreader_pairs": 2, "upper_band": True}
    boat_actions.describe_rig(
        by=cast.administrator, boat=boat, since=dt.date(2020, 4, 2), rig_type="sloop", spinnaker=True, pole=True,
        masts=[{**mast, "mast_identification": SCRIPT, "boom_identification": SCRIPT}],
        pole_identification=SCRIPT, reason=SCRIPT,
    )  # fmt: skip
    boat.refresh_from_db()
    return boat


def fill_with_hostile_texts(stage: Stage, visit: Visit) -> None:
    actions.take_log_sheet(
        by=stage.cast.measurer, visit=visit, sheet=stage.of_this_boat(sheet()), filename=f"{SCRIPT}.csv"
    )
    Visit.objects.filter(pk=visit.pk).update(place=SCRIPT, remark=SCRIPT, request=SCRIPT)
    visit.refresh_from_db()
    reading = {"slug": "spinnaker_halyard_above_band", "mast": "main", "text": "12238", "unit": "mm"}
    position = SCRIPT[:40]
    actions.record_reading(
        by=stage.cast.measurer, visit=visit, position=position, take=1, instrument=stage.kit["T-03"], remark=SCRIPT,
        **reading,
    )  # fmt: skip


@pytest.fixture(scope="module")
def hostile(django_db_setup: None, django_db_blocker: Any) -> Iterator[World]:
    with django_db_blocker.unblock(), transaction.atomic(), pytest.MonkeyPatch.context() as patch:
        patch.setattr(pdf, "render_all", lambda document, *_: dict.fromkeys(paper.SIZES, b"%PDF"))
        patch.setattr(by_role, "register_boat", hostile_boat)
        patch.setattr(Stage, "fill", fill_with_hostile_texts)
        yield World(make_cast())
        transaction.set_rollback(True)


@pytest.mark.parametrize("name", [name for name, access in TABLE.items() if access.get])
def test_no_text_becomes_part_of_the_page(hostile: World, name: str) -> None:
    allowed = TABLE[name].get
    assert allowed
    for part in ("administrator", min(allowed)):
        client = entering(hostile.cast.people()[part])
        with transaction.atomic():
            answer = client.get(hostile.address(name))
            content = b"".join(answer) if answer.streaming else answer.content
            transaction.set_rollback(True)
        if answer.headers.get("Content-Type", "").startswith("text/html"):
            assert TRACE not in content.decode(), part


def test_the_hostile_texts_were_there(hostile: World) -> None:
    """The test above would pass on pages without them."""
    shown = 0
    for name in ("desk:boat", "surveys:visit", "desk:review", "trail:list", "racing:certificate", "certificates:list"):
        page = entering(hostile.cast.administrator).get(hostile.address(name)).content.decode()
        shown += "&lt;img src=x" in page
    assert shown == 6


def test_no_text_becomes_part_of_the_paper(hostile: World) -> None:
    document = snapshot.read(hostile.certificate)
    assert SCRIPT in (document["boat"]["name"], document["people"]["measurer"]["name"])
    for size in paper.SIZES:
        html = paper.html_of(document, size)
        assert TRACE not in html
        assert "&lt;img src=x" in html
