"""The budget of every dimension of a visit, as pages and papers show it."""

from __future__ import annotations

from dataclasses import dataclass

from computations.results import BudgetLine, DimensionResult
from surveys.figures import Figures

LEAST_SHARE = 0.001  # smaller ones are gathered in one line, so that the table says what matters


@dataclass(frozen=True, slots=True)
class Budget:
    """One dimension with its sources, the greatest first; `rest` of the smallest together."""

    result: DimensionResult
    lines: tuple[tuple[BudgetLine, float], ...]  # each with its share in per cent
    rest_count: int
    rest_percent: float


def budgets(figures: Figures) -> list[Budget]:
    """Of every dimension that has an uncertainty, in their order."""
    derivation, found = figures.derivation, []
    for one in derivation.dimensions:
        if one.expanded_uncertainty is None:
            continue
        lines = derivation.budget(one.name, one.mast, one.method or None)
        shown = tuple((line, 100.0 * line.share) for line in lines if line.share >= LEAST_SHARE)
        rest = lines[len(shown) :]
        found.append(Budget(one, shown, len(rest), 100.0 * sum(line.share for line in rest)))
    return found
