"""Every kind of tampering is named by the verification of the register."""

from __future__ import annotations

import base64
import datetime as dt
import hashlib
import io
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from django.core.management import call_command
from django.db import connection, transaction
from django.db.models import Value
from django.db.models.functions import Replace
from django.utils import timezone

from office.audit import chain, triggers
from office.audit.models import Entry
from office.certificates import actions, constraints, paper, pdf, snapshot
from office.certificates.models import Certificate, Document, OfficeKey, Seal
from office.certificates.seal import actions as making_keys
from office.certificates.seal import making, statement, statement_file
from surveys.models import Reading, SignOff, Visit
from tests import keys
from tests.cast import Cast, make_cast
from tests.surveys.makers import Stage, record_kit, register_boat


def verify(*arguments: str) -> tuple[int, str]:
    """The exit status and what was printed."""
    out = io.StringIO()
    try:
        call_command("verify_register", *arguments, stdout=out)
    except SystemExit as end:
        return int(str(end.code)), out.getvalue()
    return 0, out.getvalue()


def bare_page(document: dict[str, Any], size: str, code: str) -> str:
    """For real PDFs with the real attachment: the layout is not what is asked about here."""
    return f"<!doctype html><html lang=en><title>{document['number']}</title><p>{size} {document['reason']}</p></html>"


def issued_twice(cast: Cast, accepted: Visit) -> list[Certificate]:
    """A certificate and the one that replaced it."""
    first = actions.issue(by=cast.certifier, visit=accepted)
    second = actions.issue(by=cast.certifier, visit=accepted, replacing=first.number, reason="Misspelt.")
    first.refresh_from_db()
    return [first, second]


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


@pytest.fixture(scope="module")
def two(django_db_setup: None, django_db_blocker: Any) -> Iterator[list[Certificate]]:
    """Issued once for all of these; what each test alters is taken back with its own transaction."""
    with django_db_blocker.unblock(), transaction.atomic(), pytest.MonkeyPatch.context() as patch:
        patch.setattr(paper, "html_of", bare_page)
        keys.take_away()
        making_keys.make_keys(by=None, reason="The office opens.")
        cast = make_cast()
        yield issued_twice(cast, Stage(cast, register_boat(cast), record_kit(cast)).visit("accepted"))
        transaction.set_rollback(True)


@pytest.mark.django_db
@pytest.mark.parametrize("kind", TAMPERINGS)
def test_tampering_is_named(two: list[Certificate], kind: str) -> None:
    tamper, expected = TAMPERINGS[kind]
    triggers.drop_triggers(connection)
    tamper([Certificate.objects.get(pk=one.pk) for one in two])
    triggers.create_triggers(connection)
    status, text = verify()
    assert status == 1
    assert [part for part in expected if part not in text] == [], text
