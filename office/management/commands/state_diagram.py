"""`manage.py state_diagram`: draws DEVELOPERS.md's state diagrams from the transition tables."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Protocol

from django.core.management.base import BaseCommand, CommandError

from office import environment
from office.certificates import transitions as certificates
from office.complaints import transitions as complaints
from surveys import transitions as visits

if TYPE_CHECKING:
    from collections.abc import Iterable

    from django.core.management.base import CommandParser

PAGE = environment.ROOT / "DEVELOPERS.md"
BEGIN = "<!-- state diagram: begin (written by manage.py state_diagram) -->"
END = "<!-- state diagram: end -->"


class Transition(Protocol):
    """A row of a transition table."""

    @property
    def verb(self) -> str: ...
    @property
    def sources(self) -> tuple[str, ...]: ...
    @property
    def target(self) -> str: ...
    @property
    def role(self) -> str: ...


def mermaid(transitions: Iterable[Transition]) -> str:
    """A Mermaid state diagram with an arrow for each source of each transition.

    No source: the verb makes the thing. No role: it comes about by the passing of time.
    """
    lines = ["```mermaid", "stateDiagram-v2"]
    for transition in transitions:
        label = f"{transition.verb.rstrip('_')} ({transition.role or 'time'})".replace("_", " ")
        lines += [f"    {source} --> {transition.target}: {label}" for source in transition.sources or ("[*]",)]
    return "\n".join([*lines, "```"])


def section() -> str:
    return "\n".join(
        [
            BEGIN,
            "",
            "A visit:",
            "",
            mermaid(visits.TRANSITIONS),
            "",
            "A certificate:",
            "",
            mermaid(certificates.TRANSITIONS),
            "",
            "A complaint, or the office's own finding, which is given to somebody without being acknowledged:",
            "",
            mermaid(complaints.TRANSITIONS),
            "",
            END,
        ]
    )


def with_section(page: str) -> str:
    """The page with its diagrams drawn anew. Raises CommandError if it has lost its markers."""
    before, found_begin, rest = page.partition(BEGIN)
    _, found_end, after = rest.partition(END)
    if not (found_begin and found_end):
        raise CommandError(f"{PAGE.name} needs the lines\n{BEGIN}\n{END}")
    return before + section() + after


class Command(BaseCommand):
    help = "Draws the state diagrams of DEVELOPERS.md from the transition tables."
    requires_system_checks = ()

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--check", action="store_true", help="only say whether they are up to date")

    def handle(self, *, check: bool, **options: Any) -> None:
        page = PAGE.read_text(encoding="utf-8")
        fresh = with_section(page)
        if check and fresh != page:
            raise CommandError(f"The diagrams in {PAGE.name} are stale: run python3 manage.py state_diagram")
        if not check:
            PAGE.write_text(fresh, encoding="utf-8")
