"""One visit as the checks look at it, and how a finding is written down."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from computations.catalogue import READINGS, ReadingKey, ReadingKind
from computations.derivation import Derivation
from computations.inputs import Assumptions, Instrument, Reading, Visit
from computations.layout import effective_key
from computations.reasons import reading_name
from computations.results import CheckResult, ReadingRef


@dataclass(slots=True)
class Case:
    """`groups` holds the takes of each reading that counts, under the mast under which it counts."""

    visit: Visit
    derivation: Derivation
    assumptions: Assumptions
    groups: dict[ReadingKey, list[Reading]] = field(default_factory=dict)
    strays: list[Reading] = field(default_factory=list)

    @classmethod
    def of(cls, visit: Visit, derivation: Derivation, assumptions: Assumptions) -> Case:
        case = cls(visit, derivation, assumptions)
        for reading in derivation.used.readings:
            key = effective_key(visit.rig, reading.slug, reading.mast, reading.position)
            if key is None:
                case.strays.append(reading)
            else:
                case.groups.setdefault(key, []).append(reading)
        return case

    def mean(self, slug: str, mast: str, position: str = "") -> float | None:
        """Mean of the takes as shown."""
        takes = self.groups.get((slug, mast, position))
        return sum(take.value for take in takes) / len(takes) if takes else None

    def value(self, name: str, mast: str) -> float | None:
        one = self.derivation.get(name, mast)
        return one.value if one else None

    def expanded(self, name: str, mast: str) -> float | None:
        one = self.derivation.get(name, mast)
        return one.expanded_uncertainty if one else None

    def instrument(self, reading: Reading) -> Instrument | None:
        return self.visit.instrument(reading.instrument) if reading.instrument else None

    def naming(self, refs: Iterable[ReadingRef]) -> str:
        """The readings as a sentence lists them."""
        return "; ".join(reading_name(ref, masts=len(self.visit.rig.masts)) for ref in refs)


def refs(*keys: ReadingKey) -> tuple[ReadingRef, ...]:
    return tuple(ReadingRef(*key) for key in keys)


def kind_of(key: ReadingKey) -> ReadingKind:
    return READINGS[key[0]]


def finding(
    check: str,
    grade: str,
    message: str,
    keys: Iterable[ReadingKey] = (),
    *,
    mast: str = "",
    about: str = "",
    advice: str = "",
) -> CheckResult:
    """A finding. Its key stays while the same readings, or the same thing it is `about`, are at fault."""
    keys = tuple(keys)
    mast = mast or (keys[0][1] if keys else "main")
    what = about or ",".join(dict.fromkeys("/".join(piece for piece in key if piece and piece != mast) for key in keys))
    key = f"{check}:{mast}:{what}"
    if len(key) > 120:
        # Long lists of readings: the first of them and how many there are tell it apart well enough.
        key = f"{key[:100]}…{len(keys)}"
    return CheckResult(check, grade, message, refs(*keys), mast, key, advice)


def amount(value: float, unit: str = "mm") -> str:
    """A figure in a sentence: whole mm, tenths below 10."""
    text = f"{value:.1f}" if abs(value) < 10 else f"{value:.0f}"
    return f"{text.removesuffix('.0')} {unit}"
