"""What is forged, replayed, foreign, out of its time or not ours has its own sentence; no change is missed."""

from __future__ import annotations

import datetime as dt
import json
import os
import random
from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest

from office.certificates import pdf, snapshot
from office.certificates.seal import beside, binary, checking, pades, statement, statement_file
from office.certificates.seal.published import PublishedKeys
from tests.office.certificates import samples
from tests.office.certificates.seal.conftest import NOW, KeySet, Sealed, make_key_set, seal_up

# The whole campaign is 10,000; a run of the suite takes a sample.
CHANGES = int(os.environ.get("OFFICE_TEST_CHANGES", "300"))


def said(verdict: checking.Verdict) -> str:
    return " ".join(point.sentence for point in verdict.points)


def each(sealed: Sealed) -> dict[str, bytes]:
    return {"paper": sealed.paper, "file": sealed.file, "code": sealed.code.encode()}


def test_all_three_are_genuine_and_say_whose(key_set: KeySet, sealed: Sealed):
    for kind, content in each(sealed).items():
        verdict = checking.check(content, key_set.published(), NOW)
        assert verdict.genuine, said(verdict)
        assert (verdict.kind, verdict.number) == (kind, "RM-2026-0042")
        assert verdict.days == (dt.date(2026, 5, 4), dt.date(2026, 12, 31))
        assert "Rig Office of Quavelund signed" in said(verdict)
        assert key_set.statement.identifier in said(verdict)


@pytest.mark.parametrize("kind", ["paper", "file", "code"])
def test_every_change_of_one_byte_is_found(key_set: KeySet, sealed: Sealed, kind: str):
    """Anywhere, to anything; of a paper, every other one in the signature's own room, which no signature covers."""
    content, keys = each(sealed)[kind], key_set.published()
    dice = random.Random(f"{kind} {CHANGES}")
    room = (content.index(b"/Contents <"), content.index(b"/ByteRange") + 60) if kind == "paper" else (0, 1)
    for number in range(-(-CHANGES // 3)):
        place = dice.randrange(*room) if kind == "paper" and number % 2 else dice.randrange(len(content))
        changed = bytearray(content)
        changed[place] ^= dice.randrange(1, 256)
        verdict = checking.check(bytes(changed), keys, NOW, thorough=False)
        assert not verdict.genuine, (place, content[place], changed[place])


def test_a_key_nobody_published(key_set: KeySet, sealed: Sealed):
    """Forged in our office's name: the same names, another key."""
    forged = seal_up(make_key_set(), sealed.document)
    for content in (forged.file, forged.code.encode()):
        verdict = checking.check(content, key_set.published(), NOW)
        assert not verdict.genuine
        assert "it is forged, or the list of keys is older than the key" in said(verdict)
    paper = checking.check(forged.paper, key_set.published(), NOW)
    assert "not by Rig Office of Quavelund" in said(paper)
    assert not paper.genuine


def test_another_offices(key_set: KeySet, foreign: Sealed):
    for content, word in ((foreign.code.encode(), "names elsewhere.example"), (foreign.file, "as its office")):
        verdict = checking.check(content, key_set.published(), NOW)
        assert not verdict.genuine
        assert "of another office, whose keys would be needed" in said(verdict)
        assert word in said(verdict)


def test_replayed(key_set: KeySet, sealed: Sealed):
    """A genuine code beside the paper of another certificate, and of another state of the same one."""
    keys = key_set.published()
    paper = checking.check(sealed.paper, keys, NOW)
    beside.compare(checking.check(sealed.code.encode(), keys, NOW), paper)
    assert paper.genuine
    assert "of the same certificate, RM-2026-0042, and states the same" in said(paper)
    others: tuple[tuple[dict[str, Any], str], ...] = (
        ({"number": "RM-2026-0007"}, "genuine, but of another certificate: RM-2026-0007"),
        ({"name": "Brandgans"}, "of RM-2026-0042 too, but does not state the same"),
    )
    for changes, sentence in others:
        other = key_set.sealing(samples.document(**changes)).code
        paper = checking.check(sealed.paper, keys, NOW)
        beside.compare(checking.check(other.encode(), keys, NOW), paper)
        assert not paper.genuine
        assert sentence in said(paper)


def test_a_statement_behind_another_address(key_set: KeySet, sealed: Sealed):
    moved = sealed.code.replace("RM-2026-0042/#", "RM-2026-0043/#").encode()
    assert "signature does not hold" in said(checking.check(moved, key_set.published(), NOW))


YEARS = dt.timedelta(days=3650)


@pytest.mark.parametrize(
    ("changes", "word"),
    [
        ({"used_from": NOW}, "uses only since 2026-06-01"),
        ({"expires_at": NOW - YEARS}, "ran out at 2016"),
        ({"retired_at": NOW - YEARS}, "retired at 2016"),
    ],
)
def test_a_key_outside_its_time(key_set: KeySet, sealed: Sealed, changes: dict[str, dt.datetime], word: str):
    keys = key_set.published(**changes)
    for content in each(sealed).values():
        verdict = checking.check(content, keys, NOW, thorough=False)
        assert not verdict.genuine
        assert word in said(verdict)
        assert "do not rely on it" in said(verdict)


def test_a_retired_key_holds_for_what_it_sealed_before(key_set: KeySet, sealed: Sealed):
    keys = key_set.published(retired_at=NOW)
    assert all(checking.check(content, keys, NOW + YEARS).genuine for content in each(sealed).values())


def test_a_clock_that_is_wrong(key_set: KeySet, sealed: Sealed):
    early = dt.datetime(2001, 1, 1, tzinfo=dt.UTC)
    for content in each(sealed).values():
        verdict = checking.check(content, key_set.published(), early)
        assert [point.mark for point in verdict.points].count(checking.UNKNOWN) == 1
        assert "is still to come: set the clock" in said(verdict)


def without_attachments(key_set: KeySet, sealed: Sealed) -> bytes:
    html = "<html lang=en><title>t</title><p>t</p>"
    content = pdf.write_pdf(html, attached=b"{}", made_at=NOW, identifier=bytes(16))
    return pades.sign(content, key_set.sealing(sealed.document).paper_key, NOW)


def in_small_letters(key_set: KeySet, sealed: Sealed) -> bytes:
    """The signature's own hexadecimal digits, which mean the same."""
    begin = sealed.paper.index(b"/Contents <") + len(b"/Contents <")
    return sealed.paper[:begin] + sealed.paper[begin : begin + 200].lower() + sealed.paper[begin + 200 :]


def with_code(behind: bytes) -> Callable[[KeySet, Sealed], bytes]:
    """A code with something else behind its address."""
    return lambda key_set, sealed: f"{sealed.document['check_at']}#{binary.packed(behind)}".encode()


OTHERS: dict[str, tuple[Callable[[KeySet, Sealed], bytes], str]] = {
    "empty": (lambda k, s: b"", "neither a PDF nor"),
    "a picture": (lambda k, s: b"\x89PNG\r\n\x1a\n" + bytes(5000), "neither a PDF nor"),
    "a PDF of ours that was never signed": (lambda k, s: pdf.render(s.document, "A4"), "bears no signature"),
    "only the head of a PDF": (lambda k, s: s.paper[:900], "bears no signature"),
    "the end is missing": (lambda k, s: s.paper[:-20], "does not cover the whole file"),
    "something appended": (lambda k, s: s.paper + b"\n% x", "does not cover the whole file"),
    "signed once more": (lambda k, s: s.paper + b"\n/ByteRange [0 1 2 3] \n%%EOF\n", "somebody signed it once more"),
    "the room filled up": (
        lambda k, s: s.paper.replace(b"000000>\n/ByteRange", b"000001>\n/ByteRange"),
        "beside the signature",
    ),
    "small letters": (in_small_letters, "room of its signature was altered"),
    "signed without what the office attaches": (without_attachments, "does not carry what the office attaches"),
    "other JSON": (lambda k, s: b'{"a":1}', "no certificate in the form"),
    "broken JSON": (lambda k, s: b'{"a":', "not JSON as the office writes it"),
    "JSON nested without end": (lambda k, s: b'{"a":' * 100_000, "not JSON as the office writes it"),
    "written again": (lambda k, s: json.dumps(json.loads(s.file), indent=1).encode(), "written again by something"),
    "an address only": (lambda k, s: str(s.document["check_at"]).encode(), "has no # with a signed statement"),
    "half a code": (lambda k, s: s.code[:119].encode(), "a part of the code is missing"),
    "signs that no code has": (lambda k, s: s.code.replace("#", "#~").encode(), "does not belong here"),
    "a later form": (with_code(b"\x02" + bytes(200)), "has the form 2, which this check does not know"),
    "parts that do not fit": (with_code(b"\x01" + b"\xff" * 200), "its parts do not fit together"),
}


@pytest.mark.parametrize("what", OTHERS)
def test_what_is_not_ours_has_its_own_sentence(key_set: KeySet, sealed: Sealed, what: str):
    make, sentence = OTHERS[what]
    verdict = checking.check(make(key_set, sealed), key_set.published(), NOW)
    assert not verdict.genuine
    assert sentence in said(verdict)
    assert [point.mark for point in verdict.points].count(checking.FAILS) == 1


def test_without_any_published_key(sealed: Sealed):
    keys = PublishedKeys(office="Nobody", address="", as_of=NOW)
    assert not any(checking.check(content, keys, NOW).genuine for content in each(sealed).values())


# ---- The code's own form ----


def test_a_code_states_what_the_snapshot_states(key_set: KeySet):
    document = samples.document("main", "mizzen", "fore", name="Æ" * 60)
    stated = statement.unpack(statement.split(key_set.sealing(document).code)[1])
    assert stated == statement.of_snapshot(document, key_set.statement.identifier)
    assert stated.boat == "Æ" * 28 + "…"
    assert stated.dimensions["luff", 1] == Decimal("8212.8")
    assert {slug for slug, _ in stated.dimensions} == set(statement.DIMENSIONS[:7])
    assert stated.trail_head == document["trail"]["head"]


def test_a_figure_too_long_for_a_code_is_left_out(key_set: KeySet):
    document = samples.document()
    document["dimensions"][0]["value"] = "167772.2"
    document["dimensions"][1]["value"] = "167772.1"
    stated = statement.unpack(statement.split(key_set.sealing(document).code)[1])
    assert ("luff", 0) not in stated.dimensions
    assert stated.dimensions["foot", 0] == Decimal("167772.1")


@pytest.mark.parametrize("length", range(8))
def test_packed_bytes_come_back(length: int):
    dice = random.Random(length)
    for content in (dice.randbytes(length), b"\xff" * length, bytes(length)):
        text = binary.packed(content)
        assert binary.unpacked(text) == content
        assert len(text) == length // 2 * 3 + length % 2 * 2


@pytest.mark.parametrize("text", ["0", "000A", ":::", "::", "a00", "0 0", "%%%"])
def test_text_that_no_bytes_make(text: str):
    with pytest.raises(ValueError, match="sign"):
        binary.unpacked(text)


def test_an_address_alone_still_leads_to_the_public_page(sealed: Sealed):
    assert sealed.code.startswith(sealed.document["check_at"] + "#")


def test_a_signature_value_in_another_form_of_base64_is_refused():
    good = statement_file.encoded(bytes(64))
    for wrong in (good[:-1] + "B", good + "=", good.replace("A", " ", 1)):  # the first: bits that no byte needs
        with pytest.raises(ValueError, match=r".+"):
            statement_file.decoded(wrong)
    assert statement_file.decoded(good) == bytes(64)


def test_the_snapshot_alone_can_be_checked_with_any_tool(key_set: KeySet, sealed: Sealed):
    """The signature is over the canonical bytes as they are, without any wrapping; verify raises where it is not."""
    whole = json.loads(sealed.file)
    text = snapshot.canonical(whole["certificate"]).encode()
    value = statement_file.decoded(whole["signature"]["value"])
    key_set.private().public_key().verify(value, text)
    assert statement_file.read(sealed.file).text.encode() == text
