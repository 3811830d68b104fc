"""A sound register says so; papers in owners' hands are held against it."""

from __future__ import annotations

import io
import itertools
import json
from pathlib import Path
from typing import Any

import pypdf
import pytest
from django.db import connection
from django.utils import timezone

from office.audit import triggers
from office.audit.digest import row_sha256
from office.audit.models import Entry
from office.certificates import actions, constraints, paper, pdf, snapshot
from office.certificates.models import Certificate, Document, Seal
from office.certificates.seal import keyring, sealing
from office.certificates.verification import papers
from surveys import actions as survey_actions
from surveys.models import Reading
from tests.office.certificates import samples
from tests.office.certificates.test_tampering import (
    bare_page,
    drop_constraints,
    issued_twice,
    rehash_from,
    rewrite_history,
    verify,
)

pytestmark = pytest.mark.usefixtures("own_keys")


@pytest.fixture(autouse=True)
def plain_pages(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(paper, "html_of", bare_page)


@pytest.fixture
def two(cast, stage, accepted) -> list[Certificate]:
    """A certificate and the one that replaced it."""
    return issued_twice(cast, accepted)


def test_a_sound_register(cast, two):
    actions.withdraw(by=cast.certifier, certificate=two[1], on=timezone.localdate(), reason="Sold abroad.")
    status, text = verify()
    assert text.splitlines()[-1] == "Everything fits."
    assert "2 certificates, 4 papers" in text
    assert status == 0


def test_an_empty_register(db):
    status, text = verify()
    assert (status, text.splitlines()[-1]) == (0, "Everything fits.")


def test_single_readings_are_held_against_their_rows_of_the_trail(cast, stage):
    """Recorded, amended and taken away one by one, then signed: all of it fits."""
    visit = stage.visit("draft")
    stage.fill(visit)
    reading = visit.readings.get(slug="foot_distance")
    amended = survey_actions.amend_reading(
        by=cast.measurer, reading=reading, text="4124", unit="mm", instrument=reading.instrument, reason="Misread."
    )
    luff = visit.readings.filter(slug="luff_between_bands").order_by("take").last()
    survey_actions.withdraw_reading(by=cast.measurer, reading=luff, reason="The tape had slipped.")
    stage.sign(visit)
    assert verify()[0] == 0
    with triggers.set_aside(connection):
        Reading.objects.filter(pk=amended.pk).update(value=4142.0, written="4142")
    status, text = verify()
    assert status == 1
    assert "tells of a reading that is not there: foot_distance 4124 mm" in text
    assert "The visit is not what was signed any more" in text


def test_triggers_and_constraints_that_do_not_stand(two):
    triggers.drop_triggers(connection)
    drop_constraints()
    status, text = verify("--format", "json")
    triggers.create_triggers(connection)
    connection.check_constraints()
    constraints.create(connection)
    answer = json.loads(text)
    assert status == 1
    assert {"trail", "database"} <= {one["subject"] for one in answer["findings"]}
    assert answer["checked"]["certificates"] == 2
    assert not answer["sound"]


# ---- Papers in owners' hands ----


def saved(tmp_path: Path, one: Certificate, size: str = "A4") -> str:
    path = tmp_path / f"{one.number}-{size}.pdf"
    path.write_bytes(bytes(one.documents.get(paper=size).pdf))
    return str(path)


def test_a_genuine_paper_fits(tmp_path, two):
    files = [saved(tmp_path, two[0]), saved(tmp_path, two[1], "Letter")]
    status, text = verify("--against", *files)
    assert status == 0
    assert text.count("Today's trail still holds the head this paper was printed with") == 2
    answer = json.loads(verify("--against", *files, "--format", "json")[1])
    assert [(one["number"], one["fits"]) for one in answer["papers"]] == [(one.number, True) for one in two]
    assert answer["sound"]


def test_a_rewritten_history_contradicts_the_paper_though_it_fits_in_itself(tmp_path, two):
    """Trail, certificates and papers of the register all forged to fit; the paper in the owner's hand does not."""
    file = saved(tmp_path, two[0])
    triggers.drop_triggers(connection)
    rewrite_history(two)
    for one in two:  # the forger is thorough
        document = snapshot.read(one)
        row = Entry.objects.get(number=document["trail"]["number"])
        document["trail"]["head"] = row.hash
        text = snapshot.canonical(document)
        Certificate.objects.filter(pk=one.pk).update(
            snapshot=text, snapshot_sha256=snapshot.sha256(text), trail_head=row.hash
        )
        hashes = {}
        sealed = sealing.prepare(document, text, keyring.in_use())  # the forger has the office's keys as well
        Seal.objects.filter(certificate=one).update(code=sealed.code, signature=sealed.signature)
        for size, content in pdf.render_all(document, sealed).items():
            hashes[size] = snapshot.sha256(content)
            Document.objects.filter(certificate=one, paper=size).update(pdf=content, pdf_sha256=hashes[size])
        told = Entry.objects.get(verb="issue_certificate", certificate=one.number)
        after = json.loads(told.after) | {
            "snapshot_sha256": snapshot.sha256(text), "trail_head": row.hash, "documents": hashes,
                "row_sha256": row_sha256(Certificate.objects.get(pk=one.pk), without=actions.ENDED),
        }  # fmt: skip
        Entry.objects.filter(pk=told.pk).update(after=snapshot.canonical(after))
        for ended in Entry.objects.filter(verb="replace_certificate", certificate=one.number):
            after = json.loads(ended.after) | {"row_sha256": row_sha256(Certificate.objects.get(pk=one.pk))}
            Entry.objects.filter(pk=ended.pk).update(after=snapshot.canonical(after))
        rehash_from(told.number)
    triggers.create_triggers(connection)
    assert verify()[0] == 0
    status, text = verify("--against", file)
    assert status == 1
    assert "what happened up to then has been rewritten" in text
    assert "states something else than the paper: trail" in text


def test_a_paper_of_an_unknown_certificate(tmp_path, db):
    path = tmp_path / "c.pdf"
    path.write_bytes(pdf.render(samples.document(), "A4"))
    status, text = verify("--against", str(path))
    assert status == 1
    assert "The register holds no certificate RM-2026-0042." in text
    assert "row 1841 of the trail" in text


def test_a_paper_whose_page_was_altered(tmp_path, two):
    """The same statement inside, other bytes: what the page shows may have been altered."""
    writer = pypdf.PdfWriter(clone_from=io.BytesIO(bytes(two[0].documents.get(paper="A4").pdf)))
    writer.add_blank_page(100, 100)
    path = tmp_path / "altered.pdf"
    writer.write(path)
    status, text = verify("--against", str(path))
    assert status == 1
    assert "not one of the papers issued, byte for byte" in text


def blank_pdf() -> bytes:
    writer, out = pypdf.PdfWriter(), io.BytesIO()
    writer.add_blank_page(100, 100)
    writer.write(out)
    return out.getvalue()


def ours(**fields: Any) -> bytes:
    """The snapshot of a certificate, as far as a forger cares."""
    return json.dumps({"format": "rig-certificate-1", "number": "RM-1", "trail": "y", **fields}).encode()


def pdf_with(name: str, *contents: bytes) -> bytes:
    writer, out = pypdf.PdfWriter(), io.BytesIO()
    writer.add_blank_page(100, 100)
    for content in contents:
        writer.add_attachment(name, content)
    writer.write(out)
    return out.getvalue()


NOT_OURS = {
    "empty": (b"", "It is not a PDF."),
    "text": (b"hello", "It is not a PDF."),
    "broken": (b"%PDF-1.7\n%%EOF", "cannot be read"),
    "cut short": (blank_pdf()[:200], "PDF"),
    "another PDF": (blank_pdf(), "without the attached certificate.json"),
    "another attachment": (pdf_with("other.json", b"{}"), "without the attached certificate.json"),
    "no JSON": (pdf_with("certificate.json", b"{"), "not a certificate in the form"),
    "a list": (pdf_with("certificate.json", b"[1]"), "not a certificate in the form"),
    "not UTF-8": (pdf_with("certificate.json", b"\xff\xfe"), "cannot be read"),
    "another form": (pdf_with("certificate.json", b'{"format":"x"}'), "not a certificate in the form"),
    "no number": (pdf_with("certificate.json", b'{"format":"rig-certificate-1"}'), "not a certificate in the form"),
    "a number that is a list": (pdf_with("certificate.json", ours(number=["x"])), "not a certificate in the form"),
    "a number with a NUL": (pdf_with("certificate.json", ours(number="RM\0")), "not a certificate in the form"),
    "half a character": (pdf_with("certificate.json", ours(number="\ud800")), "not a certificate in the form"),
    "nested too deep": (pdf_with("certificate.json", b"[" * 100_000), "not a certificate in the form"),
    "attached twice": (pdf_with("certificate.json", ours(), ours(number="RM-2")), "attached to it 2 times"),
    "too large": (b"%PDF-" + b" " * papers.LARGEST, "larger than any certificate"),
}


@pytest.mark.parametrize("kind", NOT_OURS)
def test_not_our_paper_is_said_in_a_sentence(tmp_path, db, kind: str):
    content, expected = NOT_OURS[kind]
    path = tmp_path / "x.pdf"
    path.write_bytes(content)
    status, text = verify("--against", str(path))
    assert status == 1
    assert "This is no certificate of this office." in text
    assert expected in text


def test_a_file_that_is_not_there(tmp_path, db):
    status, text = verify("--against", str(tmp_path / "none.pdf"))
    assert status == 1
    assert "No such file or directory" in text


def test_a_certificate_of_ours_with_nonsense_inside(db):
    number, misfits = papers.against(pdf_with("certificate.json", ours()))
    assert number == "RM-1"
    assert len(misfits) == 3


def test_what_a_stranger_wrote_into_a_paper_is_not_printed(issued, tmp_path):
    """A terminal would do what it is told there, and halves of characters cannot be printed at all."""
    rows: list[Any] = [10**30, -1, True, 1.5, None, [], "1", {"a": 1}]
    heads: list[Any] = ["\x1b[2J", "\ud800", 7, None, "00" * 32]
    for row, hash_ in itertools.product(rows, heads):
        stated = {**snapshot.read(issued), "trail": {"number": row, "head": hash_}, "\x1b[2J": "\ud800"}
        path = tmp_path / "forged.pdf"
        path.write_bytes(pdf_with("certificate.json", json.dumps(stated).encode()))
        status, text = verify("--against", str(path))
        assert status == 1, (row, hash_)
        assert "trail, and something that no certificate states" in text, (row, hash_)
        assert "vouches for row" in text, (row, hash_)
        assert "\x1b" not in text.encode().decode(), (row, hash_)
