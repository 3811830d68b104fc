"""The office's accreditation number: in the snapshot and on the paper, or nowhere where there is none."""

from __future__ import annotations

import pytest

from office.certificates import actions, paper, snapshot
from office.policy.actions import change_policy
from tests.office.certificates import samples


def test_it_is_stated_by_certificates_issued_while_the_policy_names_it(cast, accepted):
    before = actions.draft(by=cast.certifier, visit=accepted).document
    assert before["office"].keys() == {"name", "place", "demonstration"}
    change_policy(by=cast.administrator, reason="Accredited.", accreditation="QV-0417")
    after = actions.draft(by=cast.certifier, visit=accepted).document
    assert after["office"] == {**before["office"], "accreditation": "QV-0417"}


@pytest.mark.any_database
def test_the_paper_prints_it_and_nothing_where_there_is_none():
    document = samples.document()
    assert "Accreditation" not in paper.html_of(document, "A4")
    document["office"]["accreditation"] = "QV-0417 <b>"
    for size in paper.SIZES:
        printed = paper.html_of(document, size)
        assert "<bdi>Quavelund</bdi>. Accreditation <bdi>QV-0417 &lt;b&gt;</bdi></p>" in printed


@pytest.mark.any_database
def test_a_snapshot_without_it_is_what_it_was():
    """Its canonical text names no accreditation, so that its hash and every signature under it stand."""
    document = samples.document()
    assert "accreditation" not in snapshot.canonical(document)
