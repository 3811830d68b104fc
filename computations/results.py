"""What the computations answer: plain frozen rows, in mm, kg, m2, kg.m or 1, unrounded."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

GRADES = ("stop", "ask", "note")
VERDICTS = ("within_noise", "changed_below_limit", "changed")


@dataclass(frozen=True, slots=True)
class ReadingRef:
    """Points at a reading, all its takes together."""

    reading: str
    mast: str = "main"
    position: str = ""


class DimensionResult(NamedTuple):
    """One dimension, as the row quickest to make. Without a value, `missing` and `reason` say what is needed."""

    name: str  # the symbol where there is one, else the slug
    slug: str
    mast: str
    unit: str
    value: float | None
    standard_uncertainty: float | None
    method: str = ""  # string | two_mark | adopted for BAS, else empty
    coverage_factor: float = 2.0
    degrees_of_freedom: float | None = None  # None: infinite
    missing: tuple[ReadingRef, ...] = ()
    reason: str = ""  # one sentence, where value or uncertainty is None

    @property
    def expanded_uncertainty(self) -> float | None:
        if self.standard_uncertainty is None:
            return None
        return self.coverage_factor * self.standard_uncertainty


@dataclass(frozen=True, slots=True)
class BudgetLine:
    """One source in one dimension's budget: contribution = |sensitivity| x size; shares of the variance add up to 1."""

    source: str
    shared_by: str
    size: float  # standard uncertainty of the source, in its own unit
    sensitivity: float
    contribution: float  # in the dimension's unit
    share: float
    unit: str = "mm"  # of `size`


@dataclass(frozen=True, slots=True)
class CheckResult:
    """One finding. `key` is stable from one evaluation to the next while the same readings are at fault."""

    check: str
    grade: str
    message: str
    readings: tuple[ReadingRef, ...] = ()
    mast: str = "main"
    key: str = ""
    advice: str = ""  # what to do while the tape is still in hand


@dataclass(frozen=True, slots=True)
class Carried:
    """What one reading's change gave a dimension's change. `reading` is "remainder" for the non-linear rest."""

    reading: str
    mast: str
    position: str
    amount: float


@dataclass(frozen=True, slots=True)
class Change:
    """One dimension between two visits. Null fields where a side is missing."""

    name: str
    slug: str
    mast: str
    unit: str
    previous: float | None
    previous_expanded: float | None
    current: float | None
    current_expanded: float | None
    change: float | None
    expanded_uncertainty: float | None
    en: float | None
    verdict: str | None
    method: str = ""
    carried_by: tuple[Carried, ...] = ()
    by_temperature: float | None = None  # the part that the spars' temperature alone explains; None: cannot be told
