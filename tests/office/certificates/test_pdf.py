"""The paper: from the snapshot only, nothing fetched, the same bytes again, readable as text and by its code."""

from __future__ import annotations

import datetime as dt
import hashlib
import importlib
import io
import json
import logging
import re
import subprocess
import sys

import pypdf
import pytest

from office.audit.refusals import Refusal
from office.certificates import paper, pdf, snapshot
from office.environment import PDF_LIBRARIES_SENTENCE
from tests.office.certificates import samples

pytestmark = pytest.mark.any_database

HEBREW, ARABIC = "אווז אפור", "الإوزة الرمادية"


def pages_of(content: bytes) -> list[str]:
    return [page.extract_text() for page in pypdf.PdfReader(io.BytesIO(content)).pages]


def text_of(content: bytes) -> str:
    """As a reader copies it: thin spaces and wrapped lines do not matter."""
    return re.sub(r"\s+", " ", " ".join(pages_of(content)))


@pytest.fixture(scope="module")
def sloop() -> bytes:
    return pdf.render(samples.document(), "A4")


def test_from_the_snapshot_only(db, django_assert_num_queries):
    with django_assert_num_queries(0):
        papers = pdf.render_all(samples.document("main", "mizzen"))
    assert set(papers) == {"A4", "Letter"}


@pytest.mark.parametrize(("size", "points"), [("A4", (595.28, 841.89)), ("Letter", (612, 792))])
def test_each_paper_has_its_size(size: str, points: tuple[float, float]):
    page = pypdf.PdfReader(io.BytesIO(pdf.render(samples.document(), size))).pages[0]
    assert (float(page.mediabox.width), float(page.mediabox.height)) == pytest.approx(points, abs=0.1)


@pytest.mark.parametrize("masts", [("main",), ("main", "mizzen"), ("main", "fore"), ("main", "mizzen", "fore")])
@pytest.mark.parametrize("size", paper.SIZES)
def test_every_page_bears_the_number_and_the_last_one_the_end(masts: tuple[str, ...], size: str):
    pages = pages_of(pdf.render(samples.document(*masts), size))
    for index, page in enumerate(pages, 1):
        assert "RM-2026-0042" in page
        assert f"page {index} of {len(pages)}" in page
    assert "End of certificate RM-2026-0042" in pages[-1]
    assert all("End of certificate" not in page for page in pages[:-1])
    assert len(pages) == 1


def test_what_it_says_in_words(sloop):
    document = samples.document()
    text = text_of(sloop)
    stated = [
        "Graugans", "QVL 417", "QV-HAVM0417C121", "Havel 33", "R. Quist", "Quist boatyard", "2021", "HV-107", "HB-107",
        "HP-3", "Mara Lind", "Ines Holm", "Jonas Reef", "2026-04-18", "Quavelund, east quay", "9.5 °C", "T-07",
        "Ellemark 30-1182", "calibrated 2026-02-02", "due 2028-02-02", "no calibration on record", "2026-05-04",
        "2026-12-31", "calendar year", "edition 2026", "k = 2", "copied only as a whole", document["check_at"],
    ]  # fmt: skip
    assert [part for part in stated if part not in text] == []
    joined = text.replace(" ", "")
    assert snapshot.sha256(snapshot.canonical(document)) in joined
    assert document["trail"]["head"] in joined
    assert document["visit"]["sign_off"]["content_sha256"] in joined


def test_every_figure_stands_beside_its_name_with_its_uncertainty(sloop):
    text = re.sub(r"[\s\u2007\u2008\u202f]+", " ", " ".join(pages_of(sloop)))
    for row in samples.document()["dimensions"]:
        whole, _, fraction = row["value"].partition(".")
        written = f"{int(whole):,}".replace(",", " ") + (f".{fraction}" if fraction else "")
        name = f"{row['name']} {row['symbol']}".strip()
        expected = rf"{re.escape(name)} {re.escape(written)} ± {re.escape(row['expanded_uncertainty'])} "
        assert re.search(expected, text), expected


def test_what_was_not_measured_is_said():
    text = text_of(pdf.render(samples.document(without=("mast_weight", "tack_reach")), "A4"))
    assert "Not stated, because not measured: reach of the tack point TPS, weight of the mast MWT." in text
    assert "not measured" not in text_of(pdf.render(samples.document(), "A4"))


def test_what_it_replaces_and_why():
    replaces = {"number": "RM-2026-0007", "reason": "The halyard was read from the wrong sheave."}
    text = text_of(pdf.render(samples.document(replaces=replaces), "A4"))
    assert "Replaces certificate RM-2026-0007: The halyard was read from the wrong sheave." in text


def test_a_demonstration_says_so(sloop):
    office = {"name": "Rig Office", "place": "", "demonstration": True}
    assert "certifies nothing" in text_of(pdf.render(samples.document(office=office), "A4"))
    assert "certifies nothing" not in text_of(sloop)


def test_names_of_any_length_and_script():
    long = "Tante Wilhelmine von der Hohen Hallig zu Nordersand und Süderoog der Zweite "
    document = samples.document(name=long + "<b>&amp;", builder=f"{HEBREW} & {ARABIC}", design="Å" * 60)
    content = pdf.render(document, "A4")
    text = text_of(content)
    assert long.split()[1] in text
    assert "<b>&amp;" in text
    assert json.loads(attached(content))["boat"]["builder"] == f"{HEBREW} & {ARABIC}"


def attached(content: bytes) -> bytes:
    return pypdf.PdfReader(io.BytesIO(content)).attachments["certificate.json"][0]


def test_the_snapshot_is_attached_byte_for_byte(sloop):
    assert attached(sloop).decode() == snapshot.canonical(samples.document())
    reader = pypdf.PdfReader(io.BytesIO(sloop))
    assert reader.metadata is not None
    assert reader.metadata.title == "Certificate RM-2026-0042"
    xmp = reader.root_object["/Metadata"].get_data().decode()  # type: ignore[attr-defined]
    assert re.search(r"pdfaid:part>3<|pdfaid:part=.3", xmp)
    assert re.search(r"pdfaid:conformance>A<|pdfaid:conformance=.A", xmp)
    assert reader.root_object["/MarkInfo"]["/Marked"]  # type: ignore[index]


def test_the_same_bytes_again_and_in_another_process(sloop):
    assert pdf.render(samples.document(), "A4") == sloop
    code = (
        "import django, hashlib; django.setup(); from office.certificates import pdf; "
        "from tests.office.certificates import samples; "
        "print(hashlib.sha256(pdf.render(samples.document(), 'A4')).hexdigest())"
    )
    environment = {
        "PYTHONHASHSEED": "77", "TZ": "Asia/Kathmandu", "DJANGO_SETTINGS_MODULE": "tests.settings",
        "PATH": "/usr/bin:/bin",
    }  # fmt: skip
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, env=environment, cwd=paper_root()
    )
    assert done.stdout.strip() == hashlib.sha256(sloop).hexdigest()


def paper_root() -> str:
    from office.environment import ROOT

    return str(ROOT)


def test_each_paper_has_an_identity_of_its_own():
    papers = pdf.render_all(samples.document())
    ids = [pypdf.PdfReader(io.BytesIO(content)).trailer["/ID"] for content in papers.values()]
    assert ids[0] != ids[1]


OUTSIDE = [
    '<img src="http://127.0.0.1:9/a.png" alt="">',
    '<img src="file:///etc/hostname" alt="">',
    '<img src="data:image/png;base64,iVBORw0KGgo=" alt="">',
    '<img src="relative.png" alt="">',
    '<link rel="stylesheet" href="http://127.0.0.1:9/a.css">',
    '<link rel="stylesheet" href="relative.css">',
    '<link rel="attachment" href="file:///etc/hostname">',
    '<style>@import url("http://127.0.0.1:9/a.css");</style>',
    '<style>@font-face { font-family: x; src: url("file:///etc/hostname"); } p { font-family: x; }</style>',
    '<p style="background: url(http://127.0.0.1:9/a.png)">x</p>',
    '<svg viewBox="0 0 9 9"><image href="http://127.0.0.1:9/a.png" width="9" height="9"/></svg>',
    '<svg viewBox="0 0 9 9"><image href="file:///etc/hostname" width="9" height="9"/></svg>',
    '<object data="file:///etc/hostname"></object>',
    "<p style='no-such-property: 1'>x</p>",
]


@pytest.mark.parametrize("piece", OUTSIDE)
def test_nothing_outside_the_page_is_fetched_or_passed_over(piece: str):
    html = f"<!doctype html><html lang='en'><head><title>t</title></head><body><p>a</p>{piece}</body></html>"
    now = dt.datetime(2026, 5, 4, tzinfo=dt.UTC)
    with pytest.raises(pdf.UnsoundPaper):
        pdf.write_pdf(html, attached=b"{}", made_at=now, identifier=b"0" * 16)


@pytest.mark.parametrize(
    ("name", "expected"),
    [("a\x0bb", "lack U+000B:"), ("\ufffe", "U+FFFE"), ("".join(map(chr, range(0xFDD0, 0xFDD8))), "U+FDD4 and others")],
)
def test_a_sign_that_no_font_has_is_said_instead_of_printed_as_a_box(monkeypatch, name: str, expected: str):
    monkeypatch.setattr(paper, "html_of", lambda document, size, code: f"<html lang=en><title>t</title><p>{name}</p>")
    with pytest.raises(Refusal) as refused:
        pdf.render(samples.document(), "A4")
    assert expected in str(refused.value)


def test_complaints_of_another_thread_are_not_ours():
    import threading

    with pdf.Complaints() as complaints:
        other = threading.Thread(target=lambda: logging.getLogger("weasyprint").warning("theirs"))
        other.start()
        other.join()
        assert complaints.texts == []
        logging.getLogger("weasyprint").warning("ours")
    assert complaints.texts == ["ours"]
    logging.getLogger("weasyprint").warning("later")
    assert complaints.texts == ["ours"]


def test_missing_system_libraries_are_said_in_one_sentence(monkeypatch):
    def missing(name: str) -> None:
        raise OSError("cannot load library 'libgobject-2.0-0'")

    monkeypatch.setattr(importlib, "import_module", missing)
    with pytest.raises(Refusal) as refused:
        pdf.render(samples.document(), "A4")
    assert str(refused.value) == PDF_LIBRARIES_SENTENCE


@pytest.mark.parametrize("unit_rows", [(), ("luff", "foot")])
def test_figures_line_up_on_the_point(unit_rows: tuple[str, ...]):
    groups = paper.groups(samples.document(without=unit_rows))
    for group in groups:
        widths = {
            len(value) - max(value.rfind("."), value.rfind("\u2008"))
            for row in group["rows"]
            for value, _ in row["figures"]
            if value
        }
        assert len(widths) == 1


def test_a_ketch_has_a_column_for_each_mast():
    rows = {
        row["name"]: row["figures"]
        for group in paper.groups(samples.document("main", "mizzen"))
        for row in group["rows"]
    }
    assert [bool(value) for value, _ in rows["Luff"]] == [True, True]
    assert [bool(value) for value, _ in rows["Base of the foretriangle"]] == [True, False]


def test_a_schooner_carries_the_foretriangle_on_the_fore_mast():
    rows = {
        row["name"]: row["figures"] for group in paper.groups(samples.document("main", "fore")) for row in group["rows"]
    }
    assert [bool(value) for value, _ in rows["Base of the foretriangle"]] == [False, True]


def test_the_code_carries_the_public_address():
    """The page holds the code of exactly its own address; that readers decode it was tried by hand (zbar)."""
    document = samples.document()
    mine, other = paper.code(document["check_at"]), paper.code(document["check_at"] + "x")
    assert mine in paper.html_of(document, "A4")
    assert other not in paper.html_of(document, "A4")
    assert mine != other
