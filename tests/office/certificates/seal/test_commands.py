"""`manage.py verify_certificate`: with the register or with nothing but the published keys; ends with 0 or 2."""

from __future__ import annotations

import io
import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

from office import environment
from office.certificates import actions, amending, snapshot
from office.certificates.models import Certificate, Document
from office.certificates.seal import keyring, published, statement_file
from tests.office.certificates.seal.conftest import KeySet, Sealed


def run(*arguments: object) -> tuple[int, str]:
    out = io.StringIO()
    try:
        call_command("verify_certificate", *map(str, arguments), stdout=out)
    except SystemExit as end:
        return int(str(end.code)), out.getvalue()
    return 0, out.getvalue()


@pytest.fixture
def files(tmp_path: Path, key_set: KeySet, sealed: Sealed) -> Path:
    (tmp_path / "c.pdf").write_bytes(sealed.paper)
    (tmp_path / "c.json").write_bytes(sealed.file)
    (tmp_path / "c.txt").write_text(sealed.code + "\n")
    (tmp_path / "keys.json").write_text(json.dumps(published.to_document(key_set.published())))
    return tmp_path


def test_with_the_published_keys_no_database_is_asked(files: Path, sealed: Sealed):
    """No `db` fixture: a query would fail."""
    arguments = [files / "c.pdf", files / "c.json", files / "c.txt", "--keys", files / "keys.json"]
    status, text = run(*arguments, "--code", sealed.code)
    assert status == 0
    assert text.count("certificate RM-2026-0042, genuine") == 4
    assert text.count("cannot be told without the office's register") == 4
    assert text.count("of the same certificate, RM-2026-0042") == 2
    (files / "c.json").write_bytes(sealed.file.replace(b"Graugans", b"Blaugans"))
    status, text = run(*arguments)
    assert status == 2
    assert "c.json: no certificate of this office, NOT GENUINE\n  FAILS: The signature of what it states" in text


def test_where_the_database_cannot_be_reached(files: Path):
    command = [sys.executable, "-m", "django", "verify_certificate", str(files / "c.pdf"), "--keys"]
    unreachable = {"DATABASE_URL": "postgres://nobody@127.0.0.1:1/none", "OFFICE_DATA": str(files)}
    done = subprocess.run(
        [*command, str(files / "keys.json"), "--settings", "office.settings"],
        capture_output=True, text=True, check=False, cwd=environment.ROOT, env={**os.environ, **unreachable},
    )  # fmt: skip
    assert (done.returncode, "RM-2026-0042, genuine" in done.stdout) == (0, True), done.stderr


NO_KEYS = ["{", "[]", '{"format":"rig-office-keys-1"}', '{"format":"rig-office-keys-1","keys":[1]}']


@pytest.mark.parametrize("text", NO_KEYS)
def test_keys_that_are_none(files: Path, text: str):
    (files / "keys.json").write_text(text)
    with pytest.raises(CommandError, match=r"keys\.json: (it is not JSON|Expected the office's|The list of keys is)"):
        run(files / "c.pdf", "--keys", files / "keys.json")


def test_a_file_that_is_not_there(files: Path):
    status, text = run(files / "none.pdf", "--keys", files / "keys.json")
    assert status == 2
    assert "cannot be read: No such file" in text


def saved(directory: Path, certificate: Certificate) -> list[Path]:
    """Both papers and the signed JSON, as an owner keeps them."""
    paths = []
    for document in Document.objects.filter(certificate=certificate):
        paths.append(directory / f"{certificate.number}-{document.paper}.pdf")
        paths[-1].write_bytes(bytes(document.pdf))
    paths.append(directory / f"{certificate.number}.json")
    seal = certificate.seal
    paths[-1].write_bytes(
        statement_file.write(snapshot.read(certificate), seal.statement_key.identifier, seal.signature)
    )
    return paths


def test_what_was_replaced_still_verifies_and_shows_what_followed(cast, issued, tmp_path: Path):
    """ISO/IEC 17025:2017, 7.8.8, from memory: a new report names the one it replaces; the original stays as it was."""
    again = actions.issue(by=cast.certifier, visit=issued.visit, replacing=issued.number, reason="Misspelt.")
    status, text = run(*saved(tmp_path, issued))
    assert status == 0
    assert text.count(f"certificate {issued.number}, genuine") == 3
    assert text.count(f"replaced. The certificate after it is {again.number}.") == 3
    status, text = run(*saved(tmp_path, again), "--format", "json")
    rows = json.loads(text)
    assert status == 0
    assert all(row["genuine"] and row["certificate"] == again.number for row in rows)
    assert "in force." in rows[0]["points"][-1]["sentence"]
    assert snapshot.read(again)["replaces"] == {"number": issued.number, "reason": "Misspelt."}


def test_an_amendment_is_told_from_a_certificate(cast, issued, tmp_path: Path):
    made = amending.amend(by=cast.certifier, certificate=issued, text="Built in 1987.", reason="Misread plate.")
    content = bytes(made.documents.get(paper="A4").pdf)
    (tmp_path / "a.pdf").write_bytes(content)
    status, text = run(tmp_path / "a.pdf")
    assert status == 0, text
    assert f"It is amendment 1 to certificate {issued.number}, not a certificate." in text
    assert f"a.pdf: amendment {issued.number}/A1, genuine" in text
    assert f"The register says of {issued.number} on" in text
    assert f"Amendments to it: {issued.number}/A1." in text
    (tmp_path / "a.json").write_bytes(amending.signed_file(made.seal))
    status, text = run(*saved(tmp_path, issued), tmp_path / "a.json", "--format", "json")
    row = json.loads(text)[-1]
    assert (status, row["certificate"], row["amendment"]) == (0, issued.number, f"{issued.number}/A1")
    assert sum("is the certificate that it amends" in point["sentence"] for point in row["points"]) == 3
    keys = tmp_path / "keys.json"
    keys.write_text(json.dumps(published.to_document(keyring.published())))
    status, text = run(tmp_path / "a.json", "--keys", keys)
    assert "How the certificate that it amends stands cannot be told" in text
    assert status == 0
    (tmp_path / "a.pdf").write_bytes(content[:4000] + b"x" + content[4001:])
    assert run(tmp_path / "a.pdf")[0] == 2


def test_the_signed_snapshot_is_downloaded(client, cast, issued, tmp_path: Path):
    client.force_login(cast.owner)
    answer = client.get(f"/certificates/{issued.number}/certificate.json")
    assert answer.status_code == 200
    assert f'filename="{issued.number}.json"' in answer["Content-Disposition"]
    (tmp_path / "c.json").write_bytes(answer.content)
    assert run(tmp_path / "c.json")[0] == 0
    client.force_login(cast.other_owner)
    assert client.get(f"/certificates/{issued.number}/certificate.json").status_code == 403
