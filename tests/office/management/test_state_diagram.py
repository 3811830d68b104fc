"""The state diagrams of DEVELOPERS.md are drawn from the transition tables."""

from __future__ import annotations

import pytest
from django.core.management import CommandError, call_command

from office.certificates import transitions as certificates
from office.complaints import transitions as complaints
from office.management.commands import state_diagram
from surveys import transitions as visits


@pytest.fixture
def document(tmp_path, monkeypatch):
    path = tmp_path / "DEVELOPERS.md"
    path.write_text(f"before\n{state_diagram.BEGIN}\nold\n{state_diagram.END}\nafter\n", encoding="utf-8")
    monkeypatch.setattr(state_diagram, "PAGE", path)
    return path


def test_every_transition_has_its_arrows(document):
    call_command("state_diagram")
    text = document.read_text(encoding="utf-8")
    assert text.startswith("before\n")
    assert text.endswith("\nafter\n")
    assert "old" not in text
    arrows = [line for line in text.splitlines() if " --> " in line]
    tables = (*visits.TRANSITIONS, *certificates.TRANSITIONS, *complaints.TRANSITIONS)
    assert len(arrows) == sum(len(transition.sources) or 1 for transition in tables)
    for transition in tables:
        assert any(
            f"--> {transition.target}: {transition.verb.rstrip('_')}".replace("_", " ") in arrow.replace("_", " ")
            for arrow in arrows
        )


def test_a_stale_page_is_refused_and_left_alone(document):
    before = document.read_bytes()
    with pytest.raises(CommandError, match="stale"):
        call_command("state_diagram", check=True)
    assert document.read_bytes() == before
    call_command("state_diagram")
    call_command("state_diagram", check=True)


def test_a_page_without_its_markers_is_said(document):
    document.write_text("nothing", encoding="utf-8")
    with pytest.raises(CommandError, match="needs the lines"):
        call_command("state_diagram")
