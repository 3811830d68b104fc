"""Snapshots made without a database: what the paper and its readers are given in tests."""

from __future__ import annotations

from typing import Any

from computations.catalogue import DIMENSIONS
from computations.inputs import Mast, Rig
from computations.results import DimensionResult
from office.certificates import snapshot, statements

# Unrounded values of an invented boat of about ten metres, and their standard uncertainties.
SLOOP = {
    "luff": (13246.38, 1.91), "foot": (4402.14, 1.1), "boom_above_sheer": (1312.4, 1.93),
    "forestay_height": (14118.72, 2.71), "spinnaker_hoist": (14901.07, 2.78), "foretriangle_base": (3953.2, 1.83),
    "forestay_to_bow": (312.0, 1.83), "tack_reach": (5210.55, 0.74), "pole_length": (4180.9, 0.61),
    "boom_depth": (171.32, 0.12), "section_fore_aft_lower": (193.42, 0.12), "section_transverse_lower": (112.08, 0.12),
    "section_fore_aft_upper": (121.55, 0.12), "section_transverse_upper": (84.31, 0.12), "taper_length": (2104.0, 0.72),
    "foil": (92.4, 0.24), "upper_band_above_sheer": (14558.78, 2.7), "forestay_length": (14661.7, 2.65),
    "front_of_mast_to_bow": (4265.2, 1.1), "tack_reach_beyond_forestay": (1257.35, 1.97),
    "foretriangle_area": (27.907063, 0.01395), "mainsail_triangle_area": (29.156202, 0.00842),
    "mast_side_area": (2.486912, 0.001812), "mast_front_area": (1.455311, 0.001704),
    "luff_foot_ratio": (3.009077, 0.00081),
    "foretriangle_ratio": (3.571466, 0.00177), "hoist_ratio": (0.969773, 0.000161), "mast_weight": (142.35, 0.41),
    "balance_height": (5871.3, 5.9), "mast_weight_moment": (1022.6, 3.2),
}  # fmt: skip
MIZZEN_SHARE = 0.62


def results(rig: Rig, *, without: tuple[str, ...] = ()) -> list[DimensionResult]:
    """A result for each dimension of each mast, in the catalogue's order; those in `without` have no value."""
    found = []
    for kind in DIMENSIONS.values():
        for mast in rig.masts:
            if kind.slug not in SLOOP or (kind.per == "boat" and mast.name != rig.forward_mast):
                continue
            value, uncertainty = SLOOP[kind.slug]
            share = 1.0 if mast.name == rig.forward_mast else MIZZEN_SHARE
            missing = kind.slug in without
            found.append(
                DimensionResult(
                    name=kind.label,
                    slug=kind.slug,
                    mast=mast.name,
                    unit=kind.unit,
                    value=None if missing else value * share,
                    standard_uncertainty=None if missing else uncertainty,
                    method="adopted" if kind.slug == "boom_above_sheer" else "",
                )
            )
    return found


def rig(*masts: str, **fields: Any) -> Rig:
    made = tuple(
        Mast(
            name=name,
            material="aluminium",
            spreader_pairs=2,
            runner_pairs=1,
            checkstays=False,
            rigging_material="wire",
            mast_identification=f"HV-{index}07",
            boom_identification=f"HB-{index}07",
        )
        for index, name in enumerate(masts or ("main",), 1)
    )
    kind = {1: "sloop", 2: "ketch", 3: "schooner"}[len(made)]
    wanted = {"spinnaker": True, "pole": True, "bowsprit": True, "headsail_foil": True, "pole_identification": "HP-3"}
    return Rig(**{"rig_type": kind, "masts": made, **wanted, **fields})


def document(*masts: str, without: tuple[str, ...] = (), **changes: Any) -> dict[str, Any]:
    """A whole snapshot of an invented certificate. `changes` replaces top-level parts, or fields of `boat`."""
    described = rig(*masts)
    rows = results(described, without=without)
    boat = {
        "key": "boat-key", "name": "Graugans", "sail_number": "QVL 417", "hin": "QV-HAVM0417C121", "design": "Havel 33",
        "designer": "R. Quist", "builder": "Quist boatyard", "year": 2021,
    }  # fmt: skip
    boat.update({name: changes.pop(name) for name in list(changes) if name in boat})
    whole = {
        "format": snapshot.FORMAT,
        "number": "RM-2026-0042",
        "office": {"name": "Rig Office of Quavelund", "place": "Quavelund", "demonstration": False},
        "boat": boat,
        "rig": {
            "key": "rig-key",
            "since": "2024-03-01",
            "description": snapshot.description_of(described),
            "words": statements.rig_in_words(described),
        },
        "dimensions": [snapshot.dimension(one) for one in rows if one.value is not None],
        "not_measured": [snapshot.named(one) for one in rows if one.value is None],
        "visit": {
            "key": "visit-key", "date": "2026-04-18", "place": "Quavelund, east quay", "air_temperature_c": "9.5",
            "preparation": [], "sign_off": {"round": 1, "content_sha256": "ab" * 32},
        },
        "people": {
            "measurer": {"name": "Mara Lind", "key": "k1", "at": "2026-04-18T15:20:00Z"},
            "reviewer": {"name": "Ines Holm", "key": "k2", "at": "2026-04-21T08:11:00Z"},
            "certifier": {"name": "Jonas Reef", "key": "k3", "at": "2026-05-04T09:30:00Z"},
        },
        "instruments": [
            {
                "identifier": "T-07", "kind": "steel_tape", "accuracy_class": "I", "maker": "Ellemark",
                "serial_number": "30-1182",
                "calibration": {
                    "calibrated_on": "2026-02-02", "due_on": "2028-02-02", "laboratory": "Quavelund metrology",
                    "reference": "QM 26/118", "error": "1.20", "expanded_uncertainty": "0.60", "unit": "mm",
                },
            },
            {
                "identifier": "C-02", "kind": "calliper", "accuracy_class": "", "maker": "", "serial_number": "",
                "calibration": None,
            },
        ],
        "issued_at": "2026-05-04T09:30:00Z",
        "validity": {
            "from": "2026-05-04", "until": "2026-12-31", "rule": "calendar_year", "months": 12,
            "words": "Valid to the end of the calendar year in which it begins.",
        },
        "replaces": None,
        "reason": "",
        "rules": "Measured under the Quavelund rig rules, edition 2026, which invoke the Equipment Rules of Sailing.",
        "statements": [statements.UNCERTAINTY, statements.DECISION, statements.ONLY_THESE, statements.CHECK_IT],
        "trail": {"number": 1841, "head": "0f" * 32},
        "check_at": "http://127.0.0.1:8000/check/c/RM-2026-0042/",
    }  # fmt: skip
    return {**whole, **changes}
