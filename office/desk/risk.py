"""How much a signed visit wants a reviewer's eye: a number to sort by and the words behind it.

The weights are office judgement (common practice, no source); the queue prints the words, never the number alone.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from computations.catalogue import DIMENSIONS
from computations.results import Change, CheckResult

REALLY_CHANGED = 10.0  # a dimension that changed beyond noise and beyond the office's limit
CHANGED_A_LITTLE = 2.0
STOP_SETTLED = 8.0  # the measurer signed past a check that forbids it
ASKED = 3.0
AMENDED = 1.0
NO_HISTORY = 4.0
EXCEPTION = 6.0
LARGEST_EN = 20.0  # beyond this a larger E_n says nothing new


@dataclass(frozen=True, slots=True)
class Risk:
    score: float
    reasons: tuple[str, ...]


def _counted(count: int, one: str, many: str) -> str:
    return f"{count} {one if count == 1 else many}"


def assess(
    *,
    changes: Iterable[Change] | None,
    checks: Iterable[CheckResult],
    amendments: int,
    exceptions: int,
    open_queries: int,
) -> Risk:
    """Weigh one visit. `changes` is None where the boat has no accepted visit to compare with."""
    parts: list[tuple[float, str]] = []
    if changes is None:
        parts.append((NO_HISTORY, "no earlier visit to compare with"))
    else:
        rows = list(changes)
        real = [row for row in rows if row.verdict == "changed"]
        little = [row for row in rows if row.verdict == "changed_below_limit"]
        if real:
            largest = max(real, key=lambda row: abs(row.en or 0.0))
            weight = REALLY_CHANGED * len(real) + min(abs(largest.en or 0.0), LARGEST_EN)
            name = DIMENSIONS[largest.slug].name.lower()
            changed = _counted(len(real), "dimension", "dimensions")
            parts.append((weight, f"{changed} changed, most of all the {name}"))
        if little:
            parts.append((CHANGED_A_LITTLE * len(little), f"{len(little)} changed below the office's limit"))
    grades = [check.grade for check in checks]
    if stops := grades.count("stop"):
        parts.append((STOP_SETTLED * stops, _counted(stops, "check settled by a reason", "checks settled by a reason")))
    if asks := grades.count("ask"):
        parts.append((ASKED * asks, _counted(asks, "check to look at", "checks to look at")))
    if amendments:
        parts.append((AMENDED * amendments, _counted(amendments, "amended reading", "amended readings")))
    if exceptions:
        parts.append((EXCEPTION * exceptions, "measured under an exception"))
    if open_queries:
        parts.append((ASKED * open_queries, _counted(open_queries, "open query", "open queries")))
    parts.sort(key=lambda part: -part[0])
    return Risk(score=sum(weight for weight, _ in parts), reasons=tuple(text for _, text in parts))
