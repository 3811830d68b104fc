"""Amendments: documents of their own that name what they amend; works, wrong role, wrong state, repeated click."""

from __future__ import annotations

import datetime as dt
import io
import json

import pypdf
import pytest
from django.db import DatabaseError, connection, transaction
from django.urls import reverse
from django.utils import timezone

from boats import actions as boat_actions
from office.audit.models import Entry
from office.audit.refusals import NotAllowed, WrongState
from office.audit.triggers import set_aside
from office.certificates import actions, amending, snapshot
from office.certificates.models import Amendment, AmendmentSeal
from office.certificates.seal import checking, keyring, pades
from office.certificates.verification import amendments, seals

pytestmark = pytest.mark.usefixtures("quick_papers")
TEXT = "For “Petra Skaw” read “Petra Skau”."
REASON = "The name was misspelt in the request."


@pytest.fixture
def amended(cast, issued, monkeypatch) -> Amendment:
    with monkeypatch.context() as patch:
        patch.setattr(amending, "render", lambda document, size, signature: f"{size}".encode())
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
        signature = json.loads(reader.attachments[amending.SIGNATURE_NAME][0])
        assert signature["value"] == made.seal.signature
    assert list(amendments.check_all()) == []


def test_what_it_states_is_signed_and_downloaded(client, cast, issued, amended):
    client.force_login(cast.owner)
    address = reverse("certificates:amendment_snapshot", args=[issued.number, 1])
    assert address in client.get(reverse("certificates:certificate", args=[issued.number])).content.decode()
    answer = client.get(address)
    assert f'filename="{issued.number}-A1.json"' in answer["Content-Disposition"]
    verdict = checking.check(answer.content, keyring.published(), timezone.now())
    assert verdict.genuine
    assert verdict.amends == issued.number
    assert verdict.document
    assert verdict.document["text"] == TEXT
    assert client.get(reverse("certificates:amendment_snapshot", args=[issued.number, 2])).status_code == 404
    client.force_login(cast.other_owner)
    assert client.get(address).status_code == 403
    told = json.loads(Entry.objects.get(verb="amend_certificate").after)
    assert told["statement_key"] == amended.seal.statement_key.identifier


def test_a_seal_that_was_altered_or_taken_away_is_found(cast, issued):
    made = amending.amend(by=cast.certifier, certificate=issued, text=TEXT, reason=REASON)
    found = lambda: [one.sentence for one in seals.check_all() if one.subject == str(made)]  # noqa: E731
    assert found() == []
    with set_aside(connection):
        AmendmentSeal.objects.update(signature=made.seal.signature[::-1])
    assert any("signed statement" in one for one in found())
    with set_aside(connection):
        AmendmentSeal.objects.all().delete()
    assert found() == [f"{made} bears no seal, though the trail tells of one."]


def test_the_next_one_has_the_next_number(cast, issued, amended, monkeypatch):
    with pytest.raises(WrongState, match="says so already"):
        amending.amend(by=cast.certifier, certificate=issued, text=TEXT, reason=REASON)
    assert Amendment.objects.count() == 1
    monkeypatch.setattr(amending, "render", lambda document, size, signature: b"")
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
    with set_aside(connection):
        Amendment.objects.update(text="Another.")
    sentences = [one.sentence for one in amendments.check_all()]
    assert any("another text than it states" in one for one in sentences)
    with set_aside(connection):
        Amendment.objects.update(text=TEXT, issued_at=amended.issued_at + dt.timedelta(microseconds=1))
    assert ["as the register holds it" in one.sentence for one in amendments.check_all()] == [True]
    with set_aside(connection):
        amended.documents.all().delete()
        AmendmentSeal.objects.all().delete()
        Amendment.objects.all().delete()
    assert ["does not hold" in one.sentence for one in amendments.check_all()] == [True]


def test_pages(client, cast, issued, monkeypatch):
    monkeypatch.setattr(amending, "render", lambda document, size, signature: b"%PDF-1.7")
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
