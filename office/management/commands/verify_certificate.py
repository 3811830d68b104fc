"""`manage.py verify_certificate FILE …`: papers, signed JSON files and texts of codes against the office's keys."""

from __future__ import annotations

import datetime as dt
import json
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from office.certificates.models import Certificate
from office.certificates.seal import beside, checking, keyring, published
from office.certificates.seal.published import NotKeys, PublishedKeys
from office.certificates.standing import WORDS, standing
from office.certificates.verification.papers import NotOurPaper, read_file

UNTOLD = "Whether it was withdrawn, suspended, replaced or amended since cannot be told without the office's register."
UNTOLD_AMENDED = "How the certificate that it amends stands cannot be told without the office's register."
MARKS = {checking.HOLDS: "holds", checking.FAILS: "FAILS", checking.UNKNOWN: "cannot tell"}


class Command(BaseCommand):
    help = (
        "Checks the signatures of certificates and of their amendments: PDF, signed JSON, or a file with the text of "
        "a paper's code. An amendment is held against its certificate where that is among the files. With "
        "--keys against an office's published keys (its address /check/keys.json), no database needed; without, "
        "against this office's own. Ends with 0 where every one is genuine, else with 2. Genuine does not mean in "
        "force: how a certificate stands is said beside it, where the register can be asked."
    )
    requires_system_checks = ()

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("files", nargs="+", type=Path, metavar="FILE")
        parser.add_argument("--keys", type=Path, metavar="keys.json")
        parser.add_argument("--code", default="", metavar="TEXT", help="of a code that belongs to the files")
        parser.add_argument("--format", choices=("table", "json"), default="table")

    def handle(self, *args: Any, **options: Any) -> None:
        keys = _keys(options["keys"]) if options["keys"] else keyring.published()
        code = checking.check_code(options["code"], keys, timezone.now()) if options["code"] else None
        found = [(str(path), _verdict(path, keys, code)) for path in options["files"]]
        for _, amendment in found:
            for _, certificate in found:
                beside.compare_amendment(certificate, amendment)
        if code:
            found.append(("--code", code))
        for _, verdict in found:
            _say_standing(verdict, asked=options["keys"] is None)
        if options["format"] == "json":
            self.stdout.write(json.dumps([_row(name, one) for name, one in found], ensure_ascii=False, indent=2))
        else:
            for name, verdict in found:
                self._tell(name, verdict)
        if not all(verdict.genuine for _, verdict in found):
            raise SystemExit(2)

    def _tell(self, name: str, verdict: checking.Verdict) -> None:
        what = "amendment" if verdict.amends else "certificate"
        head = f"{what} {verdict.number}" if verdict.number else "no certificate of this office"
        self.stdout.write(f"{name}: {head}, {'genuine' if verdict.genuine else 'NOT GENUINE'}")
        for point in verdict.points:
            self.stdout.write(f"  {MARKS[point.mark]}: {point.sentence}")


def _keys(path: Path) -> PublishedKeys:
    try:
        return published.from_document(json.loads(path.read_bytes()))
    except OSError as error:
        raise CommandError(f"{path} cannot be read: {error.strerror}.") from None
    except (NotKeys, ValueError, RecursionError) as error:
        raise CommandError(f"{path}: {error if isinstance(error, NotKeys) else 'it is not JSON.'}") from None


def _verdict(path: Path, keys: PublishedKeys, code: checking.Verdict | None) -> checking.Verdict:
    try:
        verdict = checking.check(read_file(path), keys, timezone.now())
    except NotOurPaper as error:
        verdict = checking.Verdict("paper")
        verdict.say(checking.FAILS, str(error))
    if code:
        beside.compare(code, verdict)
    return verdict


def _say_standing(verdict: checking.Verdict, *, asked: bool) -> None:
    """Days by its own words, and what the register says where it is at hand."""
    if not verdict.genuine or not (verdict.days or verdict.amends):
        return
    today = timezone.localdate()
    if verdict.days:
        first, last = verdict.days
        verdict.say(checking.HOLDS, f"By its own words it is in force from {first} to {last}; today is {today}.")
    number = verdict.amends or verdict.number
    certificate = Certificate.objects.filter(number=number).first() if asked else None
    if certificate is None:
        verdict.say(checking.UNKNOWN, UNTOLD_AMENDED if verdict.amends else UNTOLD)
        return
    successor = getattr(certificate, "successor", None)
    followed = f" The certificate after it is {successor.number}." if successor else ""
    word = WORDS[standing(certificate, today)].lower()
    amended = ", ".join(f"{number}/A{one}" for one in certificate.amendments.values_list("number", flat=True))
    beside = f" Amendments to it: {amended}." if amended else ""
    verdict.say(checking.HOLDS, f"The register says of {number} on {today}: {word}.{followed}{beside}")


def _row(name: str, verdict: checking.Verdict) -> dict[str, Any]:
    days: tuple[dt.date, dt.date] | tuple[()] = verdict.days or ()
    return {
        "file": name,
        "kind": verdict.kind,
        "certificate": verdict.amends or verdict.number,
        "amendment": verdict.number if verdict.amends else "",
        "genuine": verdict.genuine,
        "in_force_by_its_words": [day.isoformat() for day in days],
        "points": [{"mark": one.mark, "sentence": one.sentence} for one in verdict.points],
    }
