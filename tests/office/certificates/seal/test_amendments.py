"""An amendment proves itself as a certificate does, names what it amends, and is never taken for a certificate."""

from __future__ import annotations

import dataclasses
import datetime as dt
import json
import os
import random
import subprocess
from pathlib import Path
from typing import Any

import pytest

from office.certificates import amending, snapshot
from office.certificates.seal import beside, checking, pades, statement_file
from tests.office.certificates import samples
from tests.office.certificates.seal.conftest import NOW, OFFICE, KeySet, Sealed, seal_up

CHANGES = int(os.environ.get("OFFICE_TEST_CHANGES", "300"))
AMENDS = "RM-2026-0042"


def stated(certificate: dict[str, Any], **changes: Any) -> dict[str, Any]:
    document = {
        "format": amending.FORMAT, "title": f"Amendment to certificate {AMENDS}", "certificate": AMENDS,
        "certificate_sha256": snapshot.sha256(snapshot.canonical(certificate)), "number": 1,
        "office": {"name": OFFICE, "place": "Quavelund", "demonstration": False},
        "boat": {"name": "Graugans", "sail_number": "QVL 42"}, "text": "For “Skaw” read “Skau”.", "reason": "Misspelt.",
        "figures": amending.UNTOUCHED, "issued_at": "2026-05-20T10:00:00Z", "certifier": {"name": "R", "key": "r"},
        "trail": {"number": 7, "head": "a" * 64}, "check_at": f"http://127.0.0.1:8000/check/c/{AMENDS}/",
    }  # fmt: skip
    return {**document, **changes}


@dataclasses.dataclass(frozen=True)
class Both:
    paper: bytes
    file: bytes


def amended(keys: KeySet, document: dict[str, Any]) -> Both:
    text, key = snapshot.canonical(document), keys.statement.identifier
    value = statement_file.sign(text, keys.private())
    content = amending.render(document, "A4", statement_file.signature_bytes(key, value))
    at = dt.datetime.fromisoformat(document["issued_at"])
    sealing = keys.sealing(samples.document())
    return Both(
        pades.sign(content, sealing.paper_key, at),
        statement_file.write(document, key, value, statement_file.AMENDMENT),
    )


@pytest.fixture(scope="session")
def amendment(key_set: KeySet, sealed: Sealed) -> Both:
    return amended(key_set, stated(sealed.document))


def said(verdict: checking.Verdict) -> str:
    return " ".join(point.sentence for point in verdict.points)


@pytest.mark.parametrize("kind", ["paper", "file"])
def test_it_is_genuine_and_says_what_it_amends(key_set: KeySet, amendment: Both, kind: str):
    verdict = checking.check(getattr(amendment, kind), key_set.published(), NOW)
    assert verdict.genuine, said(verdict)
    assert (verdict.kind, verdict.number, verdict.amends) == (kind, f"{AMENDS}/A1", AMENDS)
    assert (verdict.days, verdict.stated) == (None, None)
    assert f"It is amendment 1 to certificate {AMENDS}, not a certificate." in said(verdict)
    assert f"signed what it states, to the last byte, with its key {key_set.statement.identifier}" in said(verdict)


@pytest.mark.parametrize("kind", ["paper", "file"])
def test_every_change_of_one_byte_is_found(key_set: KeySet, amendment: Both, kind: str):
    content, keys, dice = getattr(amendment, kind), key_set.published(), random.Random(f"amendment {kind} {CHANGES}")
    for _ in range(-(-CHANGES // 6)):
        changed = bytearray(content)
        place = dice.randrange(len(content))
        changed[place] ^= dice.randrange(1, 256)
        verdict = checking.check(bytes(changed), keys, NOW, thorough=False)
        assert not verdict.genuine, (place, content[place], changed[place])


@pytest.mark.readers
def test_poppler_accepts_it(tmp_path: Path, amendment: Both):
    path = tmp_path / "a.pdf"
    path.write_bytes(amendment.paper)
    told = subprocess.run(["pdfsig", path], capture_output=True, text=True, check=True).stdout
    assert "Signature is Valid." in told
    assert "Total document signed" in told


def test_beside_its_certificate(key_set: KeySet, sealed: Sealed, amendment: Both):
    keys = key_set.published()
    for content, word in ((sealed.paper, "The PDF beside it"), (sealed.file, "The JSON file beside it")):
        mine = checking.check(amendment.file, keys, NOW)
        beside.compare_amendment(checking.check(content, keys, NOW), mine)
        assert mine.genuine
        assert f"{word} is the certificate that it amends, by its hash." in said(mine)
    other = seal_up(key_set, {**sealed.document, "issue_reason": "of another state"})
    mine = checking.check(amendment.file, keys, NOW)
    beside.compare_amendment(checking.check(other.file, keys, NOW), mine)
    assert not mine.genuine
    assert "states something else than it amends" in said(mine)


def test_beside_a_code(key_set: KeySet, sealed: Sealed, amendment: Both):
    keys = key_set.published()
    others = ((sealed.code, True), (key_set.sealing(samples.document(number="RM-2026-0007")).code, False))
    for code, same in others:
        mine = checking.check(amendment.paper, keys, NOW)
        beside.compare(checking.check(code.encode(), keys, NOW), mine)
        assert mine.genuine == same
        assert ("of the certificate that it amends" in said(mine), "but not of" in said(mine)) == (True, not same)


def test_neither_is_taken_for_the_other(key_set: KeySet, sealed: Sealed, amendment: Both):
    """A genuine signature under the name of the other thing."""
    for content, inside, outside in (
        (amendment.file, "amendment", "certificate"),
        (sealed.file, "certificate", "amendment"),
    ):
        whole = json.loads(content)
        moved = snapshot.canonical(
            {outside: whole[inside], "format": statement_file.FORMATS[outside], "signature": whole["signature"]}
        )
        verdict = checking.check(moved.encode(), key_set.published(), NOW)
        assert not verdict.genuine
        assert (verdict.number, "in another form than this check knows" in said(verdict)) == ("", True)


def test_a_forged_one_and_one_of_another_office(key_set: KeySet, other_office: KeySet, sealed: Sealed):
    elsewhere = {"name": "Rig Office of Elsewhere", "place": "", "demonstration": False}
    for changes, sentence in (({}, "it is forged, or the list of keys"), ({"office": elsewhere}, "of another office")):
        verdict = checking.check(
            amended(other_office, stated(sealed.document, **changes)).file, key_set.published(), NOW
        )
        assert not verdict.genuine
        assert sentence in said(verdict)


def test_one_from_before_amendments_had_a_signature_of_their_own(key_set: KeySet, sealed: Sealed):
    document = stated(sealed.document)
    at = dt.datetime.fromisoformat(document["issued_at"])
    old = pades.sign(amending.render(document, "A4"), key_set.sealing(sealed.document).paper_key, at)
    verdict = checking.check(old, key_set.published(), NOW)
    assert verdict.genuine
    assert verdict.amends == AMENDS
