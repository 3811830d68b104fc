"""Amendments: documents of their own that name what they amend; works, wrong role, wrong state, repeated click."""

from __future__ import annotations

import io
import json

import pypdf
import pytest
from django.db import DatabaseError, transaction
from django.urls import reverse
from django.utils import timezone

from boats import actions as boat_actions
from office.audit.models import Entry
from office.audit.refusals import NotAllowed, WrongState
from office.audit.triggers import set_aside
from office.certificates import actions, amending, snapshot
from office.certificates.models import Amendment
from office.certificates.seal import pades
from office.certificates.verification import amendments

pytestmark = pytest.mark.usefixtures("quick_papers")
TEXT = "For “Petra Skaw” read “Petra Skau”."
REASON = "The name was misspelt in the request."


@pytest.fixture
def amended(cast, issued, monkeypatch) -> Amendment:
    with monkeypatch.context() as patch:
        patch.setattr(amending, "render", lambda document, size: f"{size}".encode())
        patch.setattr(pades, "sign", lambda content, key, at: content)
        return amending.amend(by=cast.certifier, certificate=issued, text=TEXT, reason=REASON)


def test_it_names_what_it_amends(cast, issued):
    made = amending.amend(by=cast.certifier, certificate=issued, text=f" {TEXT} ", reason=REASON)
    stated = json.loads(made.snapshot)
    assert stated["title"] == f"Amendment to certificate {issued.number}"
    assert (stated["number"], stated["text"], stated["certificate"]) == (1, TEXT, issued.number)
    assert stated["certificate_sha256"] == issued.snapshot_sha256
    issued.refresh_from_db()
    assert snapshot.sha256(issued.snapshot) == issued.snapshot_sha256
    for document in made.documents.all():
        reader = pypdf.PdfReader(io.BytesIO(bytes(document.pdf)))
        text = " ".join(reader.pages[0].extract_text().split())
        assert f"Amendment to certificate {issued.number}" in text
        assert "Petra Skau" in text
        assert "No figure of the certificate is altered" in text
        assert b"/ByteRange" in bytes(document.pdf)  # sealed like a certificate's own paper
        assert reader.attachments[amending.ATTACHED_NAME][0].decode() == made.snapshot
    assert list(amendments.check_all()) == []


def test_the_next_one_has_the_next_number(cast, issued, amended, monkeypatch):
    with pytest.raises(WrongState, match="says so already"):
        amending.amend(by=cast.certifier, certificate=issued, text=TEXT, reason=REASON)
    assert Amendment.objects.count() == 1
    monkeypatch.setattr(amending, "render", lambda document, size: b"")
    monkeypatch.setattr(pades, "sign", lambda content, key, at: content)
    assert amending.amend(by=cast.certifier, certificate=issued, text="Another.", reason=REASON).number == 2


@pytest.mark.parametrize("part", ["measurer", "reviewer", "owner", "race_committee", "administrator", "stranger"])
def test_only_a_certifier(cast, issued, part: str):
    with pytest.raises(NotAllowed):
        amending.amend(by=cast.people()[part], certificate=issued, text=TEXT, reason=REASON)
    assert not Amendment.objects.exists()


def test_not_with_an_interest_not_what_has_ended_not_without_words(cast, issued):
    for given in ({"text": " ", "reason": REASON}, {"text": TEXT, "reason": ""}, {"text": "x" * 2001, "reason": "x"}):
        with pytest.raises(WrongState):
            amending.amend(by=cast.certifier, certificate=issued, **given)
    actions.withdraw(by=cast.certifier, certificate=issued, on=timezone.localdate(), reason="Sold for scrap.")
    with pytest.raises(WrongState, match="is withdrawn"):
        amending.amend(by=cast.certifier, certificate=issued, text=TEXT, reason=REASON)
    boat_actions.add_owner(by=cast.administrator, boat=issued.boat, person=cast.certifier, since=timezone.localdate())
    with pytest.raises(NotAllowed, match="interest"):
        amending.amend(by=cast.certifier, certificate=issued, text=TEXT, reason=REASON)


def test_never_altered_and_found_where_it_was(cast, issued, amended):
    with pytest.raises(DatabaseError), transaction.atomic():
        Amendment.objects.update(text="Another.")
    from django.db import connection

    with set_aside(connection):
        Amendment.objects.update(text="Another.")
    sentences = [one.sentence for one in amendments.check_all()]
    assert any("another text than it states" in one for one in sentences)
    with set_aside(connection):
        amended.documents.all().delete()
        Amendment.objects.all().delete()
    assert ["does not hold" in one.sentence for one in amendments.check_all()] == [True]


def test_pages(client, cast, issued, monkeypatch):
    monkeypatch.setattr(amending, "render", lambda document, size: b"%PDF-1.7")
    monkeypatch.setattr(pades, "sign", lambda content, key, at: content)
    client.force_login(cast.certifier)
    page, amend = (reverse(f"certificates:{name}", args=[issued.number]) for name in ("certificate", "amend"))
    assert amend in client.get(page).content.decode()
    typed = {"text": TEXT, "reason": REASON, "confirmed": "on"}
    assert client.post(amend, {**typed, "confirmed": ""}).status_code == 422
    assert client.post(amend, typed).headers["Location"] == page
    assert client.post(amend, typed).status_code == 422
    assert Entry.objects.filter(verb="amend_certificate").count() == 1
    client.force_login(cast.owner)
    paper = reverse("certificates:amendment_pdf", args=[issued.number, 1, "A4"])
    shown = client.get(page).content.decode()
    assert "Petra Skau" in shown
    assert paper in shown
    assert client.get(paper).content == b"%PDF-1.7"
    for address in (reverse("desk:boat", args=[issued.boat.key]), reverse("certificates:list")):
        assert "amended" in client.get(address).content.decode()
    client.logout()
    for address in (
        reverse("racing:certificate", args=[issued.number]),
        f"{reverse('racing:check')}?q={issued.boat.sail_number}",
    ):
        assert "Petra Skau" in client.get(address).content.decode()
