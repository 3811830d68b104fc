"""`manage.py compare PREVIOUS CURRENT [PREVIOUS CURRENT ...]`: what changed between log sheets. No database."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

from computations.catalogue import DIMENSIONS, READINGS
from computations.comparison import Comparison, compare
from computations.derivation import derive
from computations.diagnosis.diagnose import Answer, diagnose
from computations.diagnosis.staging import scene_between
from computations.documents import comparison_document
from computations.inputs import Visit
from computations.results import Carried, Change
from computations.rounding import decimals_of_uncertainty, format_number, to_decimals
from office.management.log_sheets import LogSheetCommand, heading, table

if TYPE_CHECKING:
    from collections.abc import Sequence

    from django.core.management.base import CommandParser

VERDICTS = {
    "within_noise": "within measuring noise",
    "changed_below_limit": "changed, below the office's limit",
    "changed": "changed",
    None: "cannot be compared",
}


LEAST_SHOWN = 0.01  # less probable answers are left to the JSON


class Compared(NamedTuple):
    """Two visits and what lies between them."""

    previous: Visit
    current: Visit
    comparison: Comparison
    diagnosis: tuple[Answer, ...]


class Command(LogSheetCommand):
    help = "Prints what changed between a previous and a current log sheet, pair by pair. Needs no database."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("logs", nargs="+", metavar="LOG", help="log sheets in pairs: PREVIOUS CURRENT ...")
        parser.add_argument("--format", choices=("table", "json"), default="table")

    def handle(self, *args: Any, logs: Sequence[str], format: str, **options: Any) -> None:  # noqa: A002
        if len(logs) % 2:
            self.refuse([f"found {len(logs)} log sheet{'s' * (len(logs) > 1)}; expected pairs: PREVIOUS CURRENT ..."])
        visits = self.read_visits(logs)
        pairs = [_compared(previous, current) for previous, current in zip(visits[::2], visits[1::2], strict=True)]
        if format == "json":
            self.print_json([comparison_document(one.comparison, one.diagnosis) for one in pairs])
        else:
            self.stdout.write("\n\n\n".join(_page(one) for one in pairs))


def _compared(previous: Visit, current: Visit) -> Compared:
    before, now = derive(previous), derive(current)
    return Compared(previous, current, compare(before, now), diagnose(scene_between(before, now)))


def _page(one: Compared) -> str:
    """Both visits, the whole table, what carried each real change, and what probably happened."""
    several = len(one.current.rig.masts) > 1
    mast = ["Mast"] if several else []
    header = ["Dimension", "", *mast, "Previous", "Now", "Change", "± U", "En", "Unit", "Verdict"]
    rows = [_row(change, several=several) for change in one.comparison.changes]
    first = 3 if several else 2
    real = [change for change in one.comparison.changes if change.verdict not in ("within_noise", None)]
    carried = "\n".join(line for change in real if (line := _carried(change, several=several)))
    likely = [answer for answer in one.diagnosis if answer.probability >= LEAST_SHOWN]
    happened = "\n".join(f"{answer.probability:4.0%} {answer.explanation}" for answer in likely)
    return "\n\n".join(
        (
            f"Previous: {heading(one.previous)}\nNow:      {heading(one.current)}",
            table(header, rows, range(first, first + 5)),
            carried or "Nothing changed by more than measuring noise.",
            f"What probably happened:\n{happened}",
        )
    )


def _row(change: Change, *, several: bool) -> list[str]:
    kind = DIMENSIONS[change.slug]
    decimals = _decimals(change)
    name = f"{kind.name} ({change.method.replace('_', ' ')})" if change.method else kind.name
    return [
        name,
        kind.symbol,
        *([change.mast] if several else []),
        _number(change.previous, decimals),
        _number(change.current, decimals),
        _signed(change.change, decimals),
        _number(change.expanded_uncertainty, decimals),
        _number(change.en, 2),
        "" if change.unit == "1" else change.unit,
        VERDICTS[change.verdict],
    ]


def _carried(change: Change, *, several: bool) -> str:
    """ "Luff (P) −31.3 mm: −31.3 from Luff between the bands", the greatest part first."""
    decimals = _decimals(change)
    parts = [
        f"{_signed(part.amount, decimals)} from {_reading(part)}"
        for part in sorted(change.carried_by, key=lambda part: -abs(part.amount))
        if to_decimals(part.amount, decimals)
    ]
    if not parts:
        return ""
    kind = DIMENSIONS[change.slug]
    name = kind.name + (f" ({kind.symbol})" if kind.symbol else "") + (f", {change.mast} mast," if several else "")
    unit = "" if change.unit == "1" else f" {change.unit}"
    warmth = change.by_temperature
    alone = ""
    if warmth is not None and to_decimals(warmth, decimals):
        alone = f"; the spar's temperature alone explains {_signed(warmth, decimals)}"
    return f"{name} {_signed(change.change, decimals)}{unit}: {', '.join(parts)}{alone}"


def _reading(part: Carried) -> str:
    kind = READINGS.get(part.reading)
    return " ".join(word for word in (kind.name if kind else part.reading, part.position) if word)


def _decimals(change: Change) -> int:
    if change.expanded_uncertainty:
        return max(decimals_of_uncertainty(change.expanded_uncertainty) or 0, 0)
    return DIMENSIONS[change.slug].decimals


def _number(value: float | None, decimals: int) -> str:
    return "–" if value is None else format_number(value, decimals)


def _signed(value: float | None, decimals: int) -> str:
    text = _number(value, decimals)
    return f"+{text}" if value and value > 0 else text
