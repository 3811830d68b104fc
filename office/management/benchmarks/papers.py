"""Papers of certificates: ours against WeasyPrint alone, and the signature against the page."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from typing import Any

import weasyprint
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from cryptography.hazmat.primitives.serialization import Encoding, NoEncryption, PrivateFormat

from computations.benchmarks import full_visit
from computations.derivation import derive
from office.certificates import paper, pdf, snapshot, statements
from office.certificates.seal import making, pades, statement, statement_file
from office.certificates.seal.keyring import PaperKey
from office.certificates.seal.sealing import Sealing
from office.management.benchmarks import Benchmark

MADE = dt.datetime(2026, 5, 4, 9, 30, tzinfo=dt.UTC)
SIZE = "A4"


def document(number: int = 1) -> dict[str, Any]:
    """What a certificate of a full set of readings states; invented."""
    visit = full_visit()
    rows = [one for one in derive(visit).dimensions if one.method in {"", "adopted"}]
    person = {"name": "Bench", "key": "bench", "at": snapshot.instant(MADE)}
    name = f"BN-2026-{number:04d}"
    return {
        "format": snapshot.FORMAT,
        "number": name,
        "office": {"name": "Bench office", "place": "Quay", "demonstration": True},
        "boat": {
            "key": "bench", "name": "Bench", "sail_number": "QUA 77", "hin": "", "design": "Design", "designer": "",
            "builder": "Yard", "year": 2020,
        },
        "rig": {
            "key": "rig", "since": "2024-03-01", "description": snapshot.description_of(visit.rig),
            "words": statements.rig_in_words(visit.rig),
        },
        "dimensions": [snapshot.dimension(one) for one in rows if one.value is not None],
        "not_measured": [snapshot.named(one) for one in rows if one.value is None],
        "visit": {
            "key": "visit", "date": "2026-04-18", "place": "Quay", "air_temperature_c": "9.5", "preparation": [],
            "sign_off": {"round": 1, "content_sha256": "ab" * 32},
        },
        "people": {"measurer": person, "reviewer": person, "certifier": person},
        "instruments": [
            {
                "identifier": "T-07", "kind": "steel_tape", "accuracy_class": "I", "maker": "", "serial_number": "",
                "calibration": None,
            }
        ],
        "issued_at": snapshot.instant(MADE),
        "validity": {
            "from": "2026-05-04", "until": "2026-12-31", "rule": "calendar_year", "months": 12,
            "words": "Valid to the end of the calendar year in which it begins.",
        },
        "replaces": None,
        "reason": "",
        "rules": "",
        "statements": [statements.UNCERTAINTY, statements.DECISION, statements.ONLY_THESE, statements.CHECK_IT],
        "trail": {"number": 1841, "head": "0f" * 32},
        "check_at": f"https://office.example/check/c/{name}/",
    }  # fmt: skip


def sealer() -> Callable[[dict[str, Any]], Sealing]:
    """Seals snapshots with keys of its own."""
    root, statements_key = making.make_root("Bench office", MADE), making.make_statement_key(MADE)
    papers_key = making.make_paper_key("Bench office", root.private, root.certificate, MADE)
    private = papers_key.private.private_bytes(Encoding.DER, PrivateFormat.PKCS8, NoEncryption())
    key = PaperKey(papers_key.identifier, private, papers_key.certificate, root.certificate)
    secret = statements_key.private
    if not isinstance(secret, Ed25519PrivateKey):
        raise TypeError("a statement key is an Ed25519 key")

    def seal(given: dict[str, Any]) -> Sealing:
        return Sealing(
            code=statement.sign(given, statements_key.identifier, secret),
            signature=statement_file.sign(snapshot.canonical(given), secret),
            statement_key=statements_key.identifier,
            paper_key=key,
        )

    return seal


def _one_paper() -> tuple[Callable[[], object], Callable[[], object]]:
    given, seal = document(), sealer()
    html = paper.html_of(given, SIZE, seal(given).code)
    return lambda: pdf.unsigned(given, SIZE, seal(given)), lambda: weasyprint.HTML(string=html).write_pdf()


def _signature() -> tuple[Callable[[], object], Callable[[], object]]:
    given, seal = document(), sealer()
    sealing = seal(given)
    html = paper.html_of(given, SIZE, sealing.code)
    content = pdf.unsigned(given, SIZE, sealing)
    return lambda: pades.sign(content, sealing.paper_key, MADE), lambda: weasyprint.HTML(string=html).write_pdf()


BENCHMARKS = [
    Benchmark(
        name="certificate_paper",
        ours="a certificate's paper from its snapshot: code and statement signed, page, drawing, both files attached",
        peer="WeasyPrint alone on the same HTML",
        prepare=_one_paper,
        at_most=1.15,
        calls=2,
        rounds=15,
    ),
    Benchmark(
        name="paper_signature",
        ours="that paper signed by pyHanko (PAdES, EC P-256)",
        peer="WeasyPrint alone on the same HTML",
        prepare=_signature,
        at_most=0.2,
        calls=2,
        rounds=15,
    ),
]
