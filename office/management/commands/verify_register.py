"""`manage.py verify_register`: trail, signatures, readings, certificates, papers and events against each other."""

from __future__ import annotations

import json
from collections.abc import Iterator
from itertools import chain
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from office.certificates.verification import invented, register
from office.certificates.verification.findings import Misfit
from office.certificates.verification.papers import NotOurPaper, against, read_file
from office.complaints import verification as complaints
from office.racing import verification as racing
from office.storage.address import StorageAway

MOST = 1000  # findings kept; a register that is wrong throughout says so before that
WORDS = {
    "trail": "rows of the trail",
    "sign_offs": "signatures",
    "readings": "rows of readings",
    "photographs": "photographs",
    "certificates": "certificates",
    "documents": "papers",
}


def everything_that_does_not_fit() -> Iterator[Misfit]:
    return chain(register.check_all(), racing.check_all(), complaints.check_all())


class Command(BaseCommand):
    help = (
        "Checks trail, signatures, readings, certificates and papers against each other and names what does not fit. "
        "With --against, also whether today's register still holds what those papers vouch for. "
        "Ends with 0 where everything fits, else with 1."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "--against", nargs="+", default=[], metavar="CERTIFICATE.pdf", help="papers in owners' hands"
        )
        parser.add_argument("--format", choices=("table", "json"), default="table")

    def handle(self, *args: Any, **options: Any) -> None:
        counted = register.counted()
        try:
            misfits = _misfits()
        except StorageAway as error:
            raise CommandError(f"The register was not checked to its end: {error}") from error
        papers = [_paper(Path(name)) for name in options["against"]]
        sound = not misfits and all(one["fits"] for one in papers)
        if options["format"] == "json":
            rows = [{"subject": one.subject, "sentence": one.sentence} for one in misfits]
            answer = {"sound": sound, "checked": counted, "findings": rows, "papers": papers}
            if excused := invented.counted():
                answer["invented_without_papers"] = excused
            self.stdout.write(json.dumps(answer, ensure_ascii=False, indent=2))
        else:
            self._table(counted, misfits, papers)
        if not sound:
            raise SystemExit(1)

    def _table(self, counted: dict[str, int], misfits: list[Misfit], papers: list[dict[str, Any]]) -> None:
        self.stdout.write("Checked " + ", ".join(f"{number} {WORDS[name]}" for name, number in counted.items()) + ".")
        if excused := invented.counted():
            self.stdout.write(
                f"This office is invented: {excused} certificates were written without papers and seals, "
                "and those were not looked for."
            )
        for one in misfits:
            self.stdout.write(f"{one.subject}: {one.sentence}")
        self.stdout.write(f"{len(misfits)} things do not fit." if misfits else "Everything fits.")
        for paper in papers:
            self.stdout.write(f"\n{paper['file']}" + (f", certificate {paper['number']}" if paper["number"] else ""))
            for sentence in paper["sentences"]:
                self.stdout.write(f"  {sentence}")


def _misfits() -> list[Misfit]:
    misfits = []
    for misfit in everything_that_does_not_fit():
        misfits.append(misfit)
        if len(misfits) == MOST:
            misfits.append(Misfit("register", f"The walk ended after {MOST} findings: too much does not fit."))
            break
    return misfits


def _paper(path: Path) -> dict[str, Any]:
    """What the register says to one paper."""
    try:
        number, misfits = against(read_file(path))
    except NotOurPaper as error:
        sentence = f"This is no certificate of this office. {error}"
        return {"file": str(path), "number": "", "fits": False, "sentences": [sentence]}
    sentences = [one.sentence for one in misfits] or [
        "Today's trail still holds the head this paper was printed with, and the register the same certificate."
    ]
    return {"file": str(path), "number": number, "fits": not misfits, "sentences": sentences}
