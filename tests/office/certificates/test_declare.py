"""What owners declare: the policy decides at once, the office settles it; and a boat handed over to a new owner."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest
from django.core import mail
from django.urls import reverse
from django.utils import timezone

from boats.models import BoatInvitation, Declaration, Ownership
from office.audit.models import Entry
from office.audit.refusals import NotAllowed, Refusal, WrongState
from office.certificates import declaring, queries, suspending
from office.certificates.models import Certificate
from office.certificates.standing import standing
from office.policy.actions import change_policy

pytestmark = pytest.mark.usefixtures("quick_papers")
TEXT = "A spreader broke off at the reach mark."
REASON = "The rigger's report is with us; the mast is as measured."


def today() -> dt.date:
    return timezone.localdate()


def stands(certificate: Certificate) -> str:
    return str(standing(Certificate.objects.get(pk=certificate.pk), today()))


@pytest.fixture
def declared(cast, issued) -> Declaration:
    return declaring.declare(by=cast.owner, boat=issued.boat, kind="mast_damaged", happened_on=today(), text=TEXT)


@pytest.mark.parametrize(
    ("consequence", "expected"), [("note", "in_force"), ("suspend", "suspended"), ("end", "withdrawn")]
)
@pytest.mark.parametrize("kind", ["sold", "rig_changed", "mast_damaged"])
def test_the_policy_decides(cast, issued, kind: str, consequence: str, expected: str):
    change: dict[str, Any] = {f"on_{kind}": consequence}
    current = change_policy(by=cast.administrator, reason="x", renewal_months=23, **change)
    assert getattr(current, f"on_{kind}") == consequence
    made = declaring.declare(by=cast.owner, boat=issued.boat, kind=kind, happened_on=today(), text=TEXT)
    assert (made.consequence, made.certificate, stands(issued)) == (consequence, issued.number, expected)
    assert Entry.objects.filter(verb="declare_change", boat=issued.boat.key, certificate=issued.number).exists()
    assert list(declaring.open_ones()) == [made]


@pytest.mark.parametrize("part", ["measurer", "other_owner", "race_committee", "stranger"])
def test_only_an_owner_or_the_office(cast, issued, part: str):
    person = cast.people()[part]
    assert not declaring.may_declare(person, issued.boat)
    with pytest.raises(NotAllowed):
        declaring.declare(by=person, boat=issued.boat, kind="sold", happened_on=today())
    assert (Declaration.objects.count(), stands(issued)) == (0, "in_force")
    assert declaring.declare(by=cast.reviewer, boat=issued.boat, kind="sold", happened_on=today()).certificate


def test_the_second_click(cast, issued, declared):
    rows = Entry.objects.count()
    with pytest.raises(WrongState, match="already"):
        declaring.declare(by=cast.owner, boat=issued.boat, kind="mast_damaged", happened_on=today())
    assert Entry.objects.count() == rows
    again = declaring.declare(by=cast.owner, boat=issued.boat, kind="rig_changed", happened_on=today())
    assert again.consequence == "suspend"
    assert issued.suspensions.count() == 1


def test_without_a_certificate_it_is_only_noted(cast, stage):
    made = declaring.declare(by=cast.owner, boat=stage.boat, kind="sold", happened_on=today())
    assert made.certificate == ""


@pytest.mark.parametrize(("kind", "days"), [("burnt", 0), ("sold", 1)])
def test_nothing_that_cannot_be(cast, issued, kind: str, days: int):
    with pytest.raises(Refusal):
        declaring.declare(by=cast.owner, boat=issued.boat, kind=kind, happened_on=today() + dt.timedelta(days))


@pytest.mark.parametrize(
    ("decision", "expected"), [("leave", "suspended"), ("reinstate", "in_force"), ("end", "withdrawn")]
)
def test_the_office_settles_it(cast, issued, declared, decision: str, expected: str):
    done = declaring.settle(by=cast.certifier, declaration=declared, decision=decision, reason=REASON)
    assert (done.settled_by, done.settlement, stands(issued)) == (cast.certifier, REASON, expected)
    assert not declaring.open_ones().exists()
    rows = Entry.objects.count()
    with pytest.raises(WrongState, match="settled already"):
        declaring.settle(by=cast.certifier, declaration=declared, decision=decision, reason=REASON)
    assert Entry.objects.count() == rows


def test_who_settles_what(cast, issued, declared):
    for part in ("measurer", "owner", "other_owner", "race_committee", "stranger"):
        with pytest.raises(NotAllowed):
            declaring.settle(by=cast.people()[part], declaration=declared, decision="leave", reason=REASON)
    for decision in ("reinstate", "end"):
        with pytest.raises(NotAllowed):
            declaring.settle(by=cast.reviewer, declaration=declared, decision=decision, reason=REASON)
    assert stands(issued) == "suspended"
    assert declaring.settle(by=cast.reviewer, declaration=declared, decision="leave", reason=REASON).settled_at


def test_nothing_to_reinstate(cast, issued, declared):
    suspending.reinstate(by=cast.certifier, certificate=issued, on=today(), reason=REASON)
    with pytest.raises(WrongState, match="nothing to reinstate"):
        declaring.settle(by=cast.certifier, declaration=declared, decision="reinstate", reason=REASON)
    with pytest.raises(WrongState, match="with a reason"):
        declaring.settle(by=cast.certifier, declaration=declared, decision="leave", reason=" ")


def test_pages(client, cast, issued):
    client.force_login(cast.owner)
    boat = reverse("desk:boat", args=[issued.boat.key])
    page = reverse("certificates:declare", args=[issued.boat.key])
    assert page in client.get(boat).content.decode()
    assert "suspended at once" in client.get(page).content.decode()
    assert client.post(page, {"kind": "", "happened_on": today().isoformat()}).status_code == 422
    typed = {"kind": "mast_damaged", "happened_on": today().isoformat(), "text": TEXT}
    assert client.post(page, typed).headers["Location"] == boat
    second = client.post(page, typed)
    assert (second.status_code, Declaration.objects.count()) == (422, 1)
    assert TEXT in client.get(boat).content.decode()
    client.force_login(cast.reviewer)
    settle = reverse("certificates:settle", args=[Declaration.objects.get().key])
    queue = client.get(reverse("desk:queue")).content.decode()
    assert settle in queue
    assert TEXT in queue
    assert "Reinstate" not in client.get(settle).content.decode()
    assert client.post(settle, {"decision": "reinstate", "reason": REASON}).status_code == 422
    client.force_login(cast.certifier)
    assert client.post(settle, {"decision": "reinstate", "reason": REASON}).status_code == 302
    assert stands(issued) == "in_force"
    assert client.post(settle, {"decision": "leave", "reason": REASON}).status_code == 422


def test_handed_over(client, cast, issued):
    """Sold yesterday: the seller sees nothing more, the buyer joins by the link and owns her."""
    yesterday = today() - dt.timedelta(days=1)
    client.force_login(cast.owner)
    page = reverse("certificates:hand_over", args=[issued.boat.key])
    typed = {"sold_on": yesterday.isoformat(), "name": "Nora Quist", "email": "Nora@quay.example", "confirmed": "on"}
    assert client.post(page, {**typed, "confirmed": ""}).status_code == 422
    shown = client.post(page, typed).content.decode()
    assert client.post(page, typed).status_code == 403
    assert (BoatInvitation.objects.count(), Declaration.objects.get().kind) == (1, "sold")
    assert stands(issued) == "suspended"
    (letter,) = mail.outbox
    assert letter.to == ["nora@quay.example"]
    link = next(line for line in letter.body.splitlines() if "/join/" in line)
    assert link in shown
    assert client.get(reverse("desk:boat", args=[issued.boat.key])).status_code == 403
    client.logout()
    new = {"name": "Nora Quist", "new_password": "a harbour full of masts", "again": "a harbour full of masts"}
    assert client.post(link, new).headers["Location"] == reverse("desk:boat", args=[issued.boat.key])
    assert client.get(reverse("desk:boat", args=[issued.boat.key])).status_code == 200
    owners = Ownership.objects.filter(boat=issued.boat, until__isnull=True)
    assert [one.person.name for one in owners] == ["Nora Quist"]
    assert queries.latest(issued.boat) == issued
    client.logout()
    assert "works once" in client.get(link).content.decode()


def test_not_to_oneself_and_not_by_a_stranger(cast, issued):
    given = {"boat": issued.boat, "sold_on": today(), "name": "X"}
    with pytest.raises(WrongState, match="your own address"):
        declaring.hand_over(by=cast.owner, email=cast.owner.email.upper(), **given)
    with pytest.raises(NotAllowed):
        declaring.hand_over(by=cast.other_owner, email="x@quay.example", **given)
    assert not Declaration.objects.exists()
