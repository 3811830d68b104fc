"""Every kind of tampering is named; a sound register says so; papers in owners' hands are held against it."""

from __future__ import annotations

import base64
import datetime as dt
import hashlib
import io
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pypdf
import pytest
from django.core.management import call_command
from django.db import connection
from django.db.models import Value
from django.db.models.functions import Replace
from django.utils import timezone

from office.audit import chain, triggers
from office.audit.digest import row_sha256
from office.audit.models import Entry
from office.certificates import actions, constraints, paper, pdf, snapshot
from office.certificates.models import Certificate, Document, OfficeKey, Seal
from office.certificates.seal import keyring, making, sealing, statement, statement_file
from office.certificates.verification import papers
from surveys import actions as survey_actions
from surveys.models import Reading, SignOff, Visit
from tests.office.certificates import samples


def verify(*arguments: str) -> tuple[int, str]:
    """The exit status and what was printed."""
    out = io.StringIO()
    try:
        call_command("verify_register", *arguments, stdout=out)
    except SystemExit as end:
        return int(str(end.code)), out.getvalue()
    return 0, out.getvalue()


pytestmark = pytest.mark.usefixtures("own_keys")


@pytest.fixture(autouse=True)
def plain_pages(monkeypatch: pytest.MonkeyPatch) -> None:
    """Real PDFs with the real attachment, but a bare page: the layout is not what is asked about here."""

    def html_of(document: dict[str, Any], size: str, code: str) -> str:
        return (
            f"<!doctype html><html lang=en><title>{document['number']}</title><p>{size} {document['reason']}</p></html>"
        )

    monkeypatch.setattr(paper, "html_of", html_of)


@pytest.fixture
def two(cast, stage, accepted) -> list[Certificate]:
    """A certificate and the one that replaced it, and a third, withdrawn one of the next visit."""
    first = actions.issue(by=cast.certifier, visit=accepted)
    second = actions.issue(by=cast.certifier, visit=accepted, replacing=first.number, reason="Misspelt.")
    first.refresh_from_db()
    return [first, second]


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


# ---- Tampering, past every trigger ----


def changed_snapshot(one: Certificate) -> str:
    document = snapshot.read(one)
    document["boat"]["name"] = "Another Boat"
    return snapshot.canonical(document)


def alter(model: Any, **fields: Any) -> Callable[[list[Certificate]], None]:
    def tamper(certificates: list[Certificate]) -> None:
        key = {"certificate_id": certificates[0].pk} if model is Document else {"pk": certificates[0].pk}
        model.objects.filter(**key).update(**fields)

    return tamper


def forged_snapshot(certificates: list[Certificate]) -> None:
    """The statement and its hash altered together: the papers and the trail still know better."""
    text = changed_snapshot(certificates[0])
    Certificate.objects.filter(pk=certificates[0].pk).update(snapshot=text, snapshot_sha256=snapshot.sha256(text))


def forged_figure(certificates: list[Certificate]) -> None:
    """A figure altered wherever the certificate keeps it, its hash too; the measurer signed another one."""
    document = snapshot.read(certificates[0])
    document["dimensions"][0]["value_unrounded"] = "12999.000000"
    text = snapshot.canonical(document)
    Certificate.objects.filter(pk=certificates[0].pk).update(snapshot=text, snapshot_sha256=snapshot.sha256(text))


def forged_paper(certificates: list[Certificate]) -> None:
    """Another PDF with its own hash, carrying an altered statement."""
    document = snapshot.read(certificates[0]) | {"reason": "forged"}
    content = pdf.render(document, "A4")
    Document.objects.filter(certificate=certificates[0], paper="A4").update(
        pdf=content, pdf_sha256=snapshot.sha256(content)
    )


def drop_constraints() -> None:
    connection.check_constraints()  # PostgreSQL alters no table for which a deferred check still waits
    constraints.drop(connection)


def sealed_by_another(certificates: list[Certificate]) -> None:
    """A key of a forger's own slipped into the register, and one certificate sealed anew with it, papers and all."""
    one, document = certificates[0], snapshot.read(certificates[0])
    fresh = making.make_statement_key(one.issued_at - dt.timedelta(days=1))
    private = fresh.private
    row = OfficeKey.objects.create(
        identifier=fresh.identifier, purpose="statement", public=base64.b64encode(fresh.public).decode(),
        used_from=fresh.used_from, expires_at=fresh.expires_at,
    )  # fmt: skip
    code = statement.sign(document, fresh.identifier, private)  # type: ignore[arg-type]
    signature = statement_file.sign(one.snapshot, private)  # type: ignore[arg-type]
    Seal.objects.filter(certificate=one).update(statement_key=row, code=code, signature=signature)


def another_code(certificates: list[Certificate]) -> None:
    """The office's own code of another certificate."""
    first, second = (Seal.objects.get(certificate=one) for one in certificates)
    Seal.objects.filter(pk=first.pk).update(code=second.code)


def second_in_force(certificates: list[Certificate]) -> None:
    drop_constraints()
    Certificate.objects.filter(pk=certificates[0].pk).update(
        in_force_before=certificates[0].valid_until + dt.timedelta(days=1), ending="", ended_on=None, ending_reason=""
    )


def delete_certificate(certificates: list[Certificate]) -> None:
    for part in (Document, Seal):
        part.objects.filter(certificate=certificates[1])._raw_delete("default")
    Certificate.objects.filter(pk=certificates[1].pk)._raw_delete("default")


def delete_paper(certificates: list[Certificate]) -> None:
    Document.objects.filter(certificate=certificates[0], paper="Letter")._raw_delete("default")


def slip_in(certificates: list[Certificate]) -> None:
    one = certificates[0]
    values = {field.attname: getattr(one, field.attname) for field in Certificate._meta.concrete_fields}
    values |= {"id": one.pk + 99, "number": "RM-1999-0001", "replaces_id": None, "ending": "replaced"}
    Certificate.objects.bulk_create([Certificate(**values)])


def rehash_from(number: int) -> None:
    """What somebody with the database in hand would do: every later hash made anew."""
    previous = Entry.objects.get(number=number - 1).hash if number > 1 else chain.GENESIS
    for entry in Entry.objects.filter(number__gte=number).order_by("number"):
        fields = {name: getattr(entry, name) for name in chain.HASHED} | {"previous_hash": previous}
        previous = chain.hash_of([fields[name] for name in chain.HASHED])
        Entry.objects.filter(pk=entry.pk).update(previous_hash=fields["previous_hash"], hash=previous)


def rewrite_history(certificates: list[Certificate]) -> None:
    """An early row altered and the whole chain after it made to fit again."""
    Entry.objects.filter(number=2).update(reason="never happened")
    rehash_from(2)


def delete_issue_row(certificates: list[Certificate]) -> None:
    row = Entry.objects.get(verb="issue_certificate", certificate=certificates[1].number)
    Entry.objects.filter(number=row.number)._raw_delete("default")


def unreadable_key(certificates: list[Certificate]) -> None:
    """It does not hide what else was done."""
    OfficeKey.objects.filter(purpose="root").update(public="A")
    Seal.objects.filter(certificate=certificates[0]).update(code="")


TAMPERINGS: dict[str, tuple[Callable[[list[Certificate]], object], list[str]]] = {
    "statement": (
        lambda c: alter(Certificate, snapshot=changed_snapshot(c[0]))(c),
        ["states was altered: its snapshot does not have the hash", "carries another snapshot than the register"],
    ),
    "statement and hash": (
        forged_snapshot,
        ["carries another snapshot than the register", "with another statement than the register's"],
    ),
    "figure": (forged_figure, ["states luff (main) as 12999.000000, but 1"]),
    "not JSON": (alter(Certificate, snapshot="{"), ["is not JSON in canonical form"]),
    "first day": (
        alter(Certificate, valid_from=dt.date(2020, 1, 1)),
        ["is kept with first day 2020-01-01 but states", "with another first day than the register's"],
    ),
    "last day": (
        alter(Certificate, valid_until=dt.date(2039, 1, 1)),
        ["is kept with last day 2039-01-01", "with another last day than the register's"],
    ),
    "head": (alter(Certificate, trail_head="ee" * 32), ["kept with trail head", "no longer holds the head"]),
    "number": (alter(Certificate, number="RM-2026-7777"), ["is kept with number RM-2026-7777", "tells of RM-"]),
    "time": (alter(Certificate, issued_at=dt.datetime(2020, 1, 1, tzinfo=dt.UTC)), ["kept with time of issue"]),
    "reason": (alter(Certificate, issue_reason="another"), ["kept with reason another"]),
    "ending undone": (second_in_force, ["are both in force on", "but the register does not", "has not ended when"]),
    "ending made": (
        alter(Certificate, ending="withdrawn"),
        ["was withdrawn, but the trail does not tell so"],
    ),
    "ending's reason": (alter(Certificate, ending_reason=""), ["the reason or the person is missing"]),
    "paper": (alter(Document, pdf=b"%PDF-1.7 other"), ["paper of", "it does not have its hash", "is no certificate"]),
    "paper's hash": (alter(Document, pdf_sha256="aa" * 32), ["it does not have its hash", "with other papers"]),
    "paper and hash": (forged_paper, ["carries another snapshot", "with other papers than the register's"]),
    "paper gone": (delete_paper, ["has no paper in Letter"]),
    "seal gone": (lambda c: Seal.objects.filter(certificate=c[0])._raw_delete("default"), ["bears no seal"]),
    "signature": (
        lambda c: Seal.objects.filter(certificate=c[0]).update(signature="A" * 86),
        ["signature of what it states does not hold"],
    ),
    "code": (
        lambda c: Seal.objects.filter(certificate=c[0]).update(code=Replace("code", Value("#0"), Value("#1"))),
        ["The signed code of RM-"],
    ),
    "another code": (another_code, ["states something else than its snapshot"]),
    "sealed by another": (sealed_by_another, ["The trail tells nothing of a key"]),
    "key altered": (
        lambda c: OfficeKey.objects.filter(purpose="statement").update(
            expires_at=dt.datetime(2099, 1, 1, tzinfo=dt.UTC)
        ),
        ["The trail tells nothing of a key"],
    ),
    "key's public part": (
        lambda c: OfficeKey.objects.filter(purpose="statement").update(
            public=base64.b64encode(making.make_statement_key(timezone.now()).public).decode()
        ),
        ["does not have the public part it is named for", "signature does not hold"],
    ),
    "key that cannot be read": (unreadable_key, ["The key", "is not one that can be read", "The signed code of RM-"]),
    "key retired": (
        lambda c: OfficeKey.objects.filter(purpose="statement").update(retired_at=timezone.now()),
        ["Trail and register differ on the retirement"],
    ),
    "certificate gone": (delete_certificate, ["which the register does not hold", "no certificate that follows it"]),
    "certificate slipped in": (slip_in, ["The trail tells nothing of the issue of RM-1999-0001"]),
    "row of the trail": (
        lambda c: Entry.objects.filter(number=3).update(reason="altered"),
        ["trail: Row 3 was altered"],
    ),
    "neighbours of the trail gone": (
        lambda c: Entry._base_manager.filter(number__in=[3, 4, 5])._raw_delete("default"),
        ["trail: Before row 6, rows 3 to 5 are missing."],
    ),
    "row of the trail gone": (delete_issue_row, ["The trail tells nothing of the issue of RM-"]),
    "trail made anew": (rewrite_history, ["no longer holds the head that"]),
    "signed content": (
        lambda c: SignOff.objects.filter(meaning="measured").update(content="{}"),
        ["What was signed in round 1 (measured) was altered", "not what was signed any more"],
    ),
    "signed content and hash": (
        lambda c: SignOff.objects.filter(meaning="measured").update(
            content="{}", content_sha256=hashlib.sha256(b"{}").hexdigest()
        ),
        ["tells nothing of the signature of round 1", "rests on a measurer's signature that its visit does not bear"],
    ),
    "signature gone": (
        lambda c: SignOff.objects.filter(meaning="measured")._raw_delete("default"),
        ["but nobody signed it"],
    ),
    "reading": (
        lambda c: Reading.objects.filter(slug="foot_distance").update(value=1.0),
        ["not what was signed any more"],
    ),
    "reading gone": (
        lambda c: Reading.objects.filter(slug="foot_distance")._raw_delete("default"),
        ["rows of readings, the trail tells of"],
    ),
    "conditions": (
        lambda c: Visit.objects.filter(pk=c[0].visit_id).update(air_temperature_c=33.0),
        ["not what was signed any more"],
    ),
}


@pytest.mark.parametrize("kind", TAMPERINGS)
def test_tampering_is_named(two, kind: str):
    tamper, expected = TAMPERINGS[kind]
    triggers.drop_triggers(connection)
    try:
        tamper(two)
    finally:
        triggers.create_triggers(connection)
    status, text = verify()
    assert status == 1
    assert [part for part in expected if part not in text] == [], text


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


@pytest.mark.parametrize("row", [10**30, -1, True, 1.5, None, [], "1", {"a": 1}])
@pytest.mark.parametrize("hash_", ["\x1b[2J", "\ud800", 7, None, "00" * 32])
def test_what_a_stranger_wrote_into_a_paper_is_not_printed(issued, tmp_path, row: Any, hash_: Any):
    """A terminal would do what it is told there, and halves of characters cannot be printed at all."""
    stated = {**snapshot.read(issued), "trail": {"number": row, "head": hash_}, "\x1b[2J": "\ud800"}
    path = tmp_path / "forged.pdf"
    path.write_bytes(pdf_with("certificate.json", json.dumps(stated).encode()))
    status, text = verify("--against", str(path))
    assert status == 1
    assert "trail, and something that no certificate states" in text
    assert "vouches for row" in text
    assert "\x1b" not in text.encode().decode()
