"""Derivations and comparisons as plain documents, ready for JSON: numbers unrounded, dates ISO 8601, SI units."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict
from typing import Any, Protocol

from computations.comparison import Comparison
from computations.derivation import Derivation
from computations.inputs import Mast, Rig, Visit
from computations.next_reading import NextReadings
from computations.results import Change, CheckResult, DimensionResult, ReadingRef

Document = dict[str, Any]


class Answer(Protocol):
    """What a diagnosis answers, as far as a document needs it."""

    @property
    def kind(self) -> str: ...
    @property
    def probability(self) -> float: ...
    @property
    def readings(self) -> tuple[ReadingRef, ...]: ...
    @property
    def size(self) -> float: ...
    @property
    def unit(self) -> str: ...
    @property
    def explanation(self) -> str: ...
    @property
    def parts(self) -> tuple[Any, ...]: ...


def derivation_document(visit: Visit, derivation: Derivation, checks: Iterable[CheckResult]) -> Document:
    """Visit, rig, dimensions and checks of one log sheet."""
    return {
        "visit": visit_document(visit),
        "rig": rig_document(visit.rig),
        "dimensions": [dimension_document(one) for one in derivation.dimensions],
        "checks": [check_document(one) for one in checks],
    }


def budgets_document(derivation: Derivation) -> list[Document]:
    """Of every dimension with an uncertainty all its sources, the greatest first."""
    return [
        {
            "name": one.name,
            "slug": one.slug,
            "mast": one.mast,
            "method": one.method,
            "unit": one.unit,
            "sources": [asdict(line) for line in derivation.budget(one.name, one.mast, one.method or None)],
        }
        for one in derivation.dimensions
        if one.standard_uncertainty is not None
    ]


def next_reading_document(found: NextReadings | None) -> Document | None:
    """The weakest dimension that can be made surer, and what would do it, the best first."""
    if found is None:
        return None
    one = found.dimension
    return {
        "dimension": one.slug,
        "name": one.name,
        "mast": one.mast,
        "expanded_uncertainty": one.expanded_uncertainty,
        "unit": one.unit,
        "weakest": found.weakest.slug,
        "sentence": found.sentence,
        "options": [
            {
                "kind": option.kind,
                "sentence": option.sentence,
                "readings": [reading_document(ref) for ref in option.readings],
                "spacing_mm": option.spacing_mm,
                "expanded_uncertainty": option.expanded,
            }
            for option in found.options
        ],
    }


def comparison_document(comparison: Comparison, diagnosis: Iterable[Answer]) -> Document:
    """Changes of one pair of visits, and what probably happened, most probable first."""
    return {
        "changes": [change_document(one) for one in comparison.changes],
        "diagnosis": [answer_document(one) for one in diagnosis],
    }


def visit_document(visit: Visit) -> Document:
    return {
        "boat": visit.boat,
        "sail_number": visit.sail_number,
        "design": visit.design,
        "date": visit.date.isoformat() if visit.date else None,
        "place": visit.place,
        "measurer": visit.measurer,
        "air_temperature": visit.air_temperature_c,
        "interest": visit.interest,
    }


def rig_document(rig: Rig) -> Document:
    return {
        "rig_type": rig.rig_type,
        "inner_forestay": rig.inner_forestay,
        "outrigger": rig.outrigger,
        "spinnaker": rig.spinnaker,
        "pole": rig.pole,
        "bowsprit": rig.bowsprit,
        "headsail_foil": rig.headsail_foil,
        "pole_identification": rig.pole_identification,
        "masts": [_mast_document(mast) for mast in rig.masts],
    }


def _mast_document(mast: Mast) -> Document:
    return {
        "mast": mast.name,
        "mast_material": mast.material,
        "spreader_pairs": mast.spreader_pairs,
        "runner_pairs": mast.runner_pairs,
        "jumper_pairs": mast.jumper_pairs,
        "checkstays": mast.checkstays,
        "rigging_material": mast.rigging_material,
        "upper_band": mast.upper_band,
        "band_contrast": mast.band_contrast,
        "mast_state": mast.state,
        "mast_identification": mast.mast_identification,
        "boom_identification": mast.boom_identification,
    }


def dimension_document(one: DimensionResult) -> Document:
    """One dimension. Where it has no value or no uncertainty, why, and what is needed for it."""
    document: Document = {
        "name": one.name,
        "slug": one.slug,
        "mast": one.mast,
        "value": one.value,
        "unit": one.unit,
        "standard_uncertainty": one.standard_uncertainty,
        "expanded_uncertainty": one.expanded_uncertainty,
        "method": one.method,
    }
    if one.degrees_of_freedom is not None:
        document |= {"coverage_factor": one.coverage_factor, "degrees_of_freedom": one.degrees_of_freedom}
    if one.reason:
        document |= {"reason": one.reason, "missing": [reading_document(ref) for ref in one.missing]}
    return document


def reading_document(ref: ReadingRef) -> Document:
    return {"reading": ref.reading, "mast": ref.mast, "position": ref.position}


def check_document(one: CheckResult) -> Document:
    return {
        "check": one.check,
        "grade": one.grade,
        "mast": one.mast,
        "readings": list(dict.fromkeys(ref.reading for ref in one.readings)),
        "message": one.message,
        "advice": one.advice,
    }


def change_document(one: Change) -> Document:
    return {
        "name": one.name,
        "slug": one.slug,
        "mast": one.mast,
        "unit": one.unit,
        "previous": one.previous,
        "previous_expanded_uncertainty": one.previous_expanded,
        "current": one.current,
        "current_expanded_uncertainty": one.current_expanded,
        "change": one.change,
        "expanded_uncertainty": one.expanded_uncertainty,
        "en": one.en,
        "verdict": one.verdict,
        "by_temperature": one.by_temperature,
        "carried_by": [
            {"reading": part.reading, "mast": part.mast, "position": part.position, "amount": part.amount}
            for part in one.carried_by
        ],
    }


def answer_document(one: Answer) -> Document:
    """One answer of a diagnosis; a joint fault lists its two parts likewise."""
    document: Document = {
        "kind": one.kind,
        "probability": one.probability,
        "readings": [reading_document(ref) for ref in one.readings],
        "size": one.size,
        "unit": one.unit,
        "explanation": one.explanation,
    }
    if one.parts:
        document["parts"] = [answer_document(part) for part in one.parts]
    return document
