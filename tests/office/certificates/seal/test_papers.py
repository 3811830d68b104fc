"""Papers as others read them: pyHanko and poppler take the signature, a reader of codes the page in black and white."""

from __future__ import annotations

import datetime as dt
import io
import re
import subprocess
from pathlib import Path

import pypdf
import pytest

from office.certificates.seal import checking, cms, pades
from tests.office.certificates import samples
from tests.office.certificates.seal.conftest import NOW, KeySet, Sealed, seal_up

pytestmark = pytest.mark.any_database


def issued_at(sealed: Sealed) -> dt.datetime:
    return dt.datetime.fromisoformat(sealed.document["issued_at"])


def test_pyhanko_accepts_it_judged_at_its_issue(key_set: KeySet, sealed: Sealed):
    roots = [key_set.root.certificate]
    assert pades.complaint(sealed.paper, roots, issued_at(sealed)) == ""
    assert "UNTRUSTED" in pades.complaint(sealed.paper, roots, issued_at(sealed) + dt.timedelta(days=365 * 20))


def test_pyhanko_does_not_trust_another_root(other_office: KeySet, sealed: Sealed):
    assert "UNTRUSTED" in pades.complaint(sealed.paper, [other_office.root.certificate], issued_at(sealed))


@pytest.mark.readers
def test_poppler_accepts_it(tmp_path: Path, sealed: Sealed):
    path = tmp_path / "c.pdf"
    path.write_bytes(sealed.paper)
    said = subprocess.run(["pdfsig", path], capture_output=True, text=True, check=True).stdout
    assert "Signature is Valid." in said
    assert "Total document signed" in said
    assert "ETSI.CAdES.detached" in said
    path.write_bytes(sealed.paper.replace(b"/Lang (en)", b"/Lang (de)"))
    said = subprocess.run(["pdfsig", path], capture_output=True, text=True, check=False).stdout
    assert "Signature is Valid." not in said


@pytest.mark.readers
@pytest.mark.parametrize("masts", [("main",), ("main", "mizzen", "fore")])
@pytest.mark.parametrize("size", ["A4", "Letter"])
def test_its_code_is_read_from_the_page_at_150_dpi_in_black_and_white(
    tmp_path: Path, key_set: KeySet, masts: tuple[str, ...], size: str
):
    sealed = seal_up(key_set, samples.document(*masts), size)
    (tmp_path / "c.pdf").write_bytes(sealed.paper)
    subprocess.run(["pdftoppm", "-r", "150", "-mono", "-singlefile", tmp_path / "c.pdf", tmp_path / "page"], check=True)
    read = subprocess.run(["zbarimg", "-q", "--raw", tmp_path / "page.pbm"], capture_output=True, text=True, check=True)
    assert read.stdout.strip() == sealed.code
    assert len(pypdf.PdfReader(io.BytesIO(sealed.paper)).pages) == 1


def test_signing_adds_a_signature_and_nothing_else(sealed: Sealed):
    """Still written as PDF/A-3a with both files attached; no later date or other producer is put in."""
    reader = pypdf.PdfReader(io.BytesIO(sealed.paper))
    xmp = reader.root_object["/Metadata"].get_data().decode()  # type: ignore[attr-defined]
    assert re.search(r"pdfaid:part>3<|pdfaid:part=.3", xmp)
    assert "pyHanko" not in xmp
    assert set(reader.attachments) == {"certificate.json", "certificate.signature.json"}
    assert "/Version" not in reader.root_object
    field = reader.root_object["/AcroForm"]["/Fields"][0].get_object()["/V"]  # type: ignore[index]
    assert field["/SubFilter"] == "/ETSI.CAdES.detached"
    assert field["/M"] == "D:20260504093000Z"
    assert field["/Reference"][0]["/TransformParams"]["/P"] == 1  # no change allowed
    assert "/DocMDP" in reader.root_object["/Perms"]  # type: ignore[operator]


def test_the_same_paper_is_signed_to_the_same_bytes(key_set: KeySet, sealed: Sealed):
    assert seal_up(key_set, sealed.document).paper == sealed.paper


def test_whatever_is_appended_is_found(sealed: Sealed):
    for more in (b"\n", b"%", b"\n%%EOF\n"):
        with pytest.raises(cms.Broken, match="whole file"):
            cms.read(sealed.paper + more)


def test_a_signature_in_the_wrong_office_is_named(foreign: Sealed, key_set: KeySet):
    verdict = checking.check(foreign.paper, key_set.published(), NOW)
    assert not verdict.genuine
    assert "not by Rig Office of Quavelund: the signer calls itself" in verdict.points[0].sentence
    assert "Elsewhere" in verdict.points[0].sentence
