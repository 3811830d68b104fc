"""The fleet's findings as a plain document, ready for JSON: numbers unrounded, people and boats by key."""

from __future__ import annotations

from typing import Any

from computations.fleet.findings import BiasFinding, ChangeFinding, Findings, TapeFinding


def findings_document(findings: Findings) -> dict[str, Any]:
    """One object: tapes, biases, changes of rigs, and the sentences that say what cannot be known."""
    return {
        "readings": findings.readings,
        "visits": findings.visits,
        "variance_ratio": findings.variance_ratio,
        "statements": list(findings.statements),
        "tapes": [_tape(one) for one in findings.tapes],
        "biases": [_bias(one) for one in findings.biases],
        "rig_changes": [_change(one) for one in findings.changes],
    }


def _tape(one: TapeFinding) -> dict[str, Any]:
    return {
        "instrument": one.tape.identifier,
        "calibration": one.tape.calibration,
        "since": one.tape.since.isoformat() if one.tape.since else None,
        "error_mm_per_m": one.mm_per_m,
        "expanded_uncertainty": one.expanded,
        "readings": one.readings,
        "tied_to_certificate": one.tied,
        "record_mm_per_m": one.tape.applied_mm_per_m,
        "record_standard_uncertainty": one.tape.certificate_u,
        "recalibration_suggested": one.beyond_record,
        "sentence": one.sentence,
    }


def _bias(one: BiasFinding) -> dict[str, Any]:
    return {
        "measurer": one.measurer,
        "reading": one.kind,
        "bias_mm": one.mm,
        "expanded_uncertainty": one.expanded,
        "readings": one.readings,
        "beyond_noise": one.beyond_noise,
    }


def _change(one: ChangeFinding) -> dict[str, Any]:
    return {
        "boat": one.quantity.boat,
        "visit": one.visit,
        "date": one.day.isoformat(),
        "reading": one.quantity.reading,
        "mast": one.quantity.mast,
        "position": one.quantity.position,
        "change_mm": one.mm,
    }
