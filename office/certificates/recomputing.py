"""Every stored visit derived again with the present code, against what was signed and certified. Stores nothing."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from typing import Any

from django.db.models import Prefetch, QuerySet

from computations.derivation import Derivation, derive_many
from computations.inputs import Assumptions
from office.certificates.models import Certificate
from office.certificates.snapshot import UNROUNDED_DECIMALS
from office.policy import queries as policy_queries
from surveys.figures import policy_of
from surveys.inputs import visit_inputs
from surveys.models import SignOff, Visit
from surveys.queries import with_content
from surveys.transitions import FROZEN

MOST_KEPT = 20_000  # differences kept; all are counted. Where more differ, the first so many say all there is to say.
CHUNK = 200  # visits with all their readings in memory at once
# Figures were written to six decimals; one visit and a batch may differ in the last bits, hence in the last decimal.
LAST_DECIMAL = 1.5 * 10.0**-UNROUNDED_DECIMALS

Progress = Callable[[int, int], None]


@dataclass(frozen=True, slots=True)
class Difference:
    """One figure that is not what was stated. `stated` and `now` are decimal texts; empty: there is none."""

    visit: str
    boat: str
    where: str  # "signed, round 2" or "certificate GP-2026-0004"
    dimension: str
    mast: str
    method: str
    what: str  # value | standard_uncertainty | expanded_uncertainty
    stated: str
    now: str


@dataclass(slots=True)
class Recomputed:
    """How much was looked at, how many figures differ, and the first of them."""

    visits: int = 0
    signatures: int = 0
    certificates: int = 0
    differing: int = 0
    differences: list[Difference] = field(default_factory=list)

    def note(self, differences: Iterable[Difference]) -> None:
        for one in differences:
            self.differing += 1
            if len(self.differences) < MOST_KEPT:
                self.differences.append(one)


def recompute(progress: Progress = lambda done, of: None) -> Recomputed:
    """All visits, in chunks; a visit that may still be altered is derived, and held against nothing."""
    found, reached, total = Recomputed(), 0, Visit.objects.count()
    while chunk := list(_visits().filter(pk__gt=reached).order_by("pk")[:CHUNK]):
        for visit, derivation in zip(chunk, _derived(chunk), strict=True):
            found.visits += 1
            if visit.state in FROZEN:
                found.note(_of_signature(found, visit, derivation))
            found.note(_of_certificates(found, visit, derivation))
        reached = chunk[-1].pk
        progress(found.visits, total)
    return found


def _visits() -> QuerySet[Visit]:
    signed = SignOff.objects.filter(meaning="measured").order_by("round")
    certified = Certificate.objects.defer("ending_reason", "issue_reason").order_by("pk")
    return with_content(Visit.objects.all()).prefetch_related(
        Prefetch("sign_offs", signed), Prefetch("certificates", certified)
    )


def _derived(chunk: Iterable[Visit]) -> list[Derivation]:
    """Each under the assumptions of its own policy, those of the same together."""
    visits = list(chunk)
    by_assumptions: dict[Assumptions, list[int]] = {}
    for place, visit in enumerate(visits):
        by_assumptions.setdefault(policy_queries.assumptions(policy_of(visit)), []).append(place)
    answers: dict[int, Derivation] = {}
    for assumptions, places in by_assumptions.items():
        together = derive_many([visit_inputs(visits[place]) for place in places], assumptions)
        answers.update(zip(places, together, strict=True))
    return [answers[place] for place in range(len(visits))]


def _of_signature(found: Recomputed, visit: Visit, derivation: Derivation) -> Iterator[Difference]:
    signatures = list(visit.sign_offs.all())
    if not signatures:
        return
    found.signatures += 1
    latest = signatures[-1]
    where = f"signed, round {latest.round}"
    stated = {
        (row["dimension"], row["mast"], row["method"]): {name: row[name] for name in ("value", "standard_uncertainty")}
        for row in json.loads(latest.content)["dimensions"]
    }
    yield from _compared(visit, where, stated, derivation, complete=True)


def _of_certificates(found: Recomputed, visit: Visit, derivation: Derivation) -> Iterator[Difference]:
    for certificate in visit.certificates.all():
        found.certificates += 1
        rows = json.loads(certificate.snapshot)["dimensions"]
        stated = {
            (row["slug"], row["mast"], "adopted" if row["slug"] == "boom_above_sheer" else ""): {
                "value": row["value_unrounded"],
                "expanded_uncertainty": row["expanded_uncertainty_unrounded"] or "",
            }
            for row in rows
        }
        yield from _compared(visit, f"certificate {certificate.number}", stated, derivation, complete=False)


def _compared(
    visit: Visit,
    where: str,
    stated: dict[tuple[str, str, str], dict[str, str]],
    derivation: Derivation,
    *,
    complete: bool,
) -> Iterator[Difference]:
    """What is stated otherwise than it is now; with `complete` also what is now and was not stated."""
    now = {(one.slug, one.mast, one.method): one for one in derivation.dimensions if one.value is not None}
    nothing = {"value": "", "standard_uncertainty": ""}
    for key in [*stated, *(key for key in now if complete and key not in stated)]:
        for what, text in stated.get(key, nothing).items():
            figure: float | None = getattr(now[key], what) if key in now else None
            if not _same(text, figure):
                told = "" if figure is None else f"{figure + 0.0:.{UNROUNDED_DECIMALS}f}"
                yield Difference(visit.key, visit.boat.name, where, *key, what, text, told)


def _same(text: str, figure: float | None) -> bool:
    if not text or figure is None:
        return not text and figure is None
    return abs(float(text) - figure) <= LAST_DECIMAL


def difference_document(one: Difference) -> dict[str, Any]:
    return {name: getattr(one, name) for name in one.__slots__}
