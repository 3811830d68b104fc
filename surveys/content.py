"""What a signature stands under: the whole visit as canonical JSON (RFC 8785), and its SHA-256.

Numbers are decimal texts, never floats; people stand in it by key. Text is brought to Unicode NFC first, which
RFC 8785 leaves to the writer.
"""

from __future__ import annotations

import hashlib
import unicodedata
from decimal import Decimal
from typing import Any

import rfc8785

from boats.models import Boat
from boats.particulars import plain
from computations import inputs
from computations.results import DimensionResult
from surveys.figures import Figures, derive_visit, policy_of
from surveys.models import Reading, Visit
from surveys.queries import absences_of, all_readings, latest_sign_off, photos_of, walking_order
from surveys.transitions import FROZEN

VERSION = "1"
DIMENSION_DECIMALS = 6  # far below any uncertainty, far above the last bits of a float


def canonical_content(visit: Visit, figures: Figures | None = None) -> str:
    """The visit as one line of canonical JSON; the same rows give the same text, any other reading another."""
    return rfc8785.dumps(_normal(content(visit, figures or derive_visit(visit)))).decode()


def sha256(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()


def content_sha256(visit: Visit) -> str:
    return sha256(canonical_content(visit))


def still_as_signed(visit: Visit) -> bool:
    """Whether the visit's content today is what the latest measurer's signature stands under."""
    signed = latest_sign_off(visit)
    return signed is not None and content_sha256(visit) == signed.content_sha256 == sha256(signed.content)


def content(visit: Visit, figures: Figures) -> dict[str, Any]:
    """The content as a dict of texts, lists and dicts."""
    given = figures.inputs
    return {
        "version": VERSION,
        "visit": visit.key,
        "policy_edition": str(policy_of(visit).pk),
        "boat": boat_as_known(visit),
        "conditions": {
            "date": visit.date.isoformat() if visit.date else "",
            "place": visit.place,
            "air_temperature_c": decimal_text(visit.air_temperature_c),
            "interest": visit.interest,
            "remark": visit.remark,
            "measurer": visit.measurer.key if visit.measurer else "",
        },
        "rig": {"key": visit.rig.key if visit.rig else "", **_described(given.rig)},
        "preparation": sorted(
            (
                {"mast": one.mast, "item": one.item, "answer": one.answer, "remark": one.remark}
                for one in given.preparation
            ),
            key=lambda row: (row["mast"], row["item"]),
        ),
        "instruments": [_described(one) for one in given.instruments],
        "readings": _readings(visit),
        "settlements": [
            {
                "check": one.check_key,
                "choice": one.choice,
                "reason": one.reason,
                "by": one.settled_by.key,
                "at": one.settled_at.isoformat(),
            }
            for one in visit.settlements.select_related("settled_by").order_by("pk")
        ],
        **_kept_beside(visit),
        "dimensions": [_dimension(one) for one in figures.derivation.dimensions if one.value is not None],
    }


def _kept_beside(visit: Visit) -> dict[str, Any]:
    """Absences and photographs, where there are any: a content without them reads as it did before there could be."""
    absent = [
        {
            "reading": one.slug,
            "mast": one.mast,
            "position": one.position,
            "reason": one.reason,
            "by": one.marked_by.key,
            "at": one.marked_at.isoformat(),
        }
        for one in absences_of(visit)
    ]
    photos = [
        {
            "photo": one.key,
            "sha256": one.sha256,
            "reading": one.slug,
            "mast": one.mast,
            "position": one.position,
            "remark": one.remark,
            "by": one.added_by.key,
            "at": one.added_at.isoformat(),
        }
        for one in photos_of(visit)
    ]
    return {**({"absent": absent} if absent else {}), **({"photos": photos} if photos else {})}


def boat_as_known(visit: Visit) -> dict[str, str]:
    """The boat as she was known at the signature; as she is known now, while there is none."""
    boat: Boat = visit.boat
    known: dict[str, Any] = plain(boat)
    if visit.state in FROZEN and visit.signed_at is not None:
        former = boat.former.filter(until__gt=visit.signed_at).order_by("edition").first()
        known = former.particulars if former else known
    return {"key": boat.key, **{name: "" if value is None else str(value) for name, value in known.items()}}


def decimal_text(value: float | None) -> str:
    """The shortest decimal that means this float, without exponent: 15286.0 is "15286"."""
    if value is None:
        return ""
    text = format(Decimal(repr(float(value))), "f")
    return text.rstrip("0").rstrip(".") if "." in text else text


def _readings(visit: Visit) -> list[dict[str, Any]]:
    """Every take with what was written, converted, by whom, when, and all it replaced, newest first."""
    rows = all_readings(visit)
    by_pk = {row.pk: row for row in rows}
    replaced = {row.replaces_id for row in rows}
    latest = sorted((row for row in rows if row.pk not in replaced), key=lambda row: (*walking_order(row), row.pk))
    return [{**_reading(row), "replaced": [_reading(one) for one in _former(row, by_pk)]} for row in latest]


def _former(row: Reading, by_pk: dict[int, Reading]) -> list[Reading]:
    former = []
    while row.replaces_id is not None:
        row = by_pk[row.replaces_id]
        former.append(row)
    return former


def _reading(row: Reading) -> dict[str, Any]:
    return {
        "reading": row.slug,
        "mast": row.mast,
        "position": row.position,
        "take": str(row.take),
        "written": row.written,
        "unit": row.unit_written,
        "value": decimal_text(row.value),
        "instrument": row.instrument.identifier if row.instrument else "",
        "remark": row.remark,
        "by": row.recorded_by.key,
        "at": row.recorded_at.isoformat(),
        "reason": row.reason,
        "withdrawn": row.withdrawn,
    }


def _dimension(result: DimensionResult) -> dict[str, str]:
    return {
        "dimension": result.slug,
        "mast": result.mast,
        "method": result.method,
        "unit": result.unit,
        "value": _rounded(result.value),
        "standard_uncertainty": _rounded(result.standard_uncertainty),
    }


def _rounded(value: float | None) -> str:
    return "" if value is None else f"{value + 0.0:.{DIMENSION_DECIMALS}f}"


def _described(thing: inputs.Rig | inputs.Mast | inputs.Instrument) -> dict[str, Any]:
    """A frozen input as texts: numbers as decimals, dates ISO, what is not said left out."""
    described: dict[str, Any] = {}
    for name in thing.__slots__:
        value = getattr(thing, name)
        if value is None or value == "":
            continue
        if isinstance(value, tuple):
            described[name] = [_described(one) for one in value]
        elif isinstance(value, bool):
            described[name] = value
        elif isinstance(value, float | int):
            described[name] = decimal_text(value)
        else:
            described[name] = str(value)
    return described


def _normal(value: Any) -> Any:
    """All text in NFC, so that the same letters are the same bytes."""
    if isinstance(value, str):
        return unicodedata.normalize("NFC", value)
    if isinstance(value, dict):
        return {key: _normal(one) for key, one in value.items()}
    if isinstance(value, list):
        return [_normal(one) for one in value]
    return value
