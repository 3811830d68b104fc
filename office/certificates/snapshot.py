"""The snapshot: everything a certificate states, as one JSON document in canonical form (RFC 8785).

No floats: a length is a decimal string, rounded with its uncertainty (JCGM 100:2008, 7.2.6), and once more unrounded
to six decimals. Texts are in Unicode normal form C, because RFC 8785 itself normalises nothing. Pages, papers and
checks read the snapshot and nothing else, so that a certificate states today what it stated when it was issued.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import unicodedata
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import rfc8785
from django.conf import settings

from computations import inputs, rounding, typesetting
from computations.catalogue import DIMENSIONS
from computations.results import DimensionResult
from office.certificates import statements
from office.certificates.validity import rule_in_words
from surveys.models import Calibration, SignOff
from surveys.models import Instrument as StoredInstrument

if TYPE_CHECKING:
    from office.certificates.models import Certificate
    from office.people.models import Person
    from office.policy.models import PolicyEdition
    from surveys.figures import Figures
    from surveys.models import Visit

FORMAT = "rig-certificate-1"
UNROUNDED_DECIMALS = 6


@dataclass(frozen=True, slots=True, kw_only=True)
class Issue:
    """What an issue adds to the visit and its figures."""

    number: str
    certifier: Person
    issued_at: dt.datetime
    valid_from: dt.date
    valid_until: dt.date
    policy: PolicyEdition
    trail_head: tuple[int, str]  # number and hash of the trail's latest row at issue
    replaces: Certificate | None = None
    reason: str = ""


def build_snapshot(visit: Visit, figures: Figures, issue: Issue) -> dict[str, Any]:
    """The whole statement, as plain JSON values without floats."""
    stated = [one for one in figures.derivation.dimensions if one.method in {"", "adopted"}]
    policy = issue.policy
    document = {
        "format": FORMAT,
        "number": issue.number,
        "office": office_of(policy),
        "boat": _boat(visit),
        "rig": _rig(visit, figures.inputs.rig),
        "dimensions": [dimension(one) for one in stated if one.value is not None],
        "not_measured": [named(one) for one in stated if one.value is None],
        "visit": _visit(visit, figures.inputs),
        "people": _people(visit, issue),
        "instruments": _instruments(figures.inputs),
        "issued_at": instant(issue.issued_at),
        "validity": {
            "from": issue.valid_from.isoformat(),
            "until": issue.valid_until.isoformat(),
            "rule": policy.validity_rule,
            "months": policy.validity_months,
            "words": rule_in_words(policy.validity_rule, policy.validity_months),
        },
        "replaces": {"number": issue.replaces.number, "reason": issue.reason} if issue.replaces else None,
        "reason": issue.reason,
        "rules": policy.rules_text,
        "statements": statements.for_certificate(visit, figures),
        "trail": {"number": issue.trail_head[0], "head": issue.trail_head[1]},
        "check_at": f"{settings.PUBLIC_URL}/check/c/{issue.number}/",
    }
    return {key: normal(value) for key, value in document.items()}


def canonical(document: dict[str, Any]) -> str:
    """RFC 8785: one text for one content."""
    return rfc8785.dumps(document).decode()


def sha256(text: str | bytes) -> str:
    return hashlib.sha256(text.encode() if isinstance(text, str) else text).hexdigest()


def read(certificate: Certificate) -> dict[str, Any]:
    """The stored snapshot of a certificate."""
    return dict(json.loads(certificate.snapshot))


def instant(moment: dt.datetime) -> str:
    return moment.astimezone(dt.UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


# ---- Back from the snapshot: what the drawing is made of ----


def rig_of(document: dict[str, Any]) -> inputs.Rig:
    """The rig's description as the snapshot states it; a field that is no longer known is passed over."""
    fields = document["rig"]["description"]
    masts = tuple(inputs.Mast(**_known(inputs.Mast, mast)) for mast in fields["masts"])
    return inputs.Rig(**{**_known(inputs.Rig, fields), "masts": masts})


def _known(kind: type[inputs.Rig | inputs.Mast], fields: dict[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in fields.items() if name in kind.__dataclass_fields__}


def results_of(document: dict[str, Any]) -> tuple[DimensionResult, ...]:
    """The dimensions as results again, from their unrounded texts; those not measured without a value."""
    return tuple(_result(row) for row in [*document["dimensions"], *document["not_measured"]])


def _result(row: dict[str, Any]) -> DimensionResult:
    value = row.get("value_unrounded")
    return DimensionResult(
        name=row["symbol"] or row["slug"],
        slug=row["slug"],
        mast=row["mast"],
        unit=row["unit"],
        value=None if value is None else float(value),
        standard_uncertainty=_standard(row),
        coverage_factor=float(row.get("coverage_factor", "2")),
    )


def _standard(row: dict[str, Any]) -> float | None:
    expanded = row.get("expanded_uncertainty_unrounded")
    return None if expanded is None else float(expanded) / float(row["coverage_factor"])


# ---- The parts ----


def office_of(policy: PolicyEdition) -> dict[str, Any]:
    """Who states it. The accreditation only where there is one: snapshots of before say nothing of it."""
    said = {"name": policy.office_name, "place": policy.office_place, "demonstration": policy.is_demo}
    return {**said, "accreditation": policy.accreditation} if policy.accreditation else said


def _boat(visit: Visit) -> dict[str, Any]:
    boat = visit.boat
    return {
        "key": boat.key,
        "name": boat.name,
        "sail_number": boat.sail_number,
        "hin": boat.hin,
        "design": boat.design.name if boat.design else "",
        "designer": boat.design.designer if boat.design else "",
        "builder": boat.builder,
        "year": boat.year,
    }


def _rig(visit: Visit, rig: inputs.Rig) -> dict[str, Any]:
    return {
        "key": visit.rig.key if visit.rig else "",
        "since": visit.rig.since.isoformat() if visit.rig else "",
        "description": description_of(rig),
        "words": statements.rig_in_words(rig),
    }


def description_of(rig: inputs.Rig) -> dict[str, Any]:
    """The fields of computations.inputs.Rig and Mast by their names; `rig_of` reads them back."""
    plain: dict[str, Any] = {name: getattr(rig, name) for name in inputs.Rig.__dataclass_fields__ if name != "masts"}
    masts = [{name: getattr(mast, name) for name in inputs.Mast.__dataclass_fields__} for mast in rig.masts]
    return {**plain, "masts": masts}


def named(result: DimensionResult) -> dict[str, Any]:
    kind = DIMENSIONS[result.slug]
    return {
        "slug": result.slug, "symbol": kind.symbol, "name": kind.name, "mast": result.mast, "unit": result.unit,
    }  # fmt: skip


def dimension(result: DimensionResult) -> dict[str, Any]:
    value, expanded = result.value, result.expanded_uncertainty
    assert value is not None  # noqa: S101 - the caller keeps those without a value apart
    decimals = printed_decimals(result)
    return {
        **named(result),
        "value": plain_decimal(value, decimals),
        "expanded_uncertainty": None if expanded is None else plain_decimal(expanded, decimals),
        "coverage_factor": plain_decimal(result.coverage_factor, 1),
        "value_unrounded": plain_decimal(value, UNROUNDED_DECIMALS),
        "expanded_uncertainty_unrounded": None if expanded is None else plain_decimal(expanded, UNROUNDED_DECIMALS),
    }


def printed_decimals(result: DimensionResult) -> int:
    """As on every page: two digits of U within what the unit is printed to; more only where U would read as zero."""
    expanded = result.expanded_uncertainty
    decimals = typesetting.decimals_for(expanded, result.unit, DIMENSIONS[result.slug].decimals)
    if expanded and rounding.to_decimals(expanded, decimals) == 0:
        decimals = rounding.decimals_of_uncertainty(expanded) or decimals
    return decimals


def plain_decimal(value: float, decimals: int) -> str:
    """15286.4: a decimal point, no thousands; never minus zero."""
    rounded = rounding.to_decimals(value, decimals)
    return format(abs(rounded) if rounded == 0 else rounded, "f")


def _visit(visit: Visit, given: inputs.Visit) -> dict[str, Any]:
    signed = SignOff.objects.filter(visit=visit, meaning="measured").order_by("-round").first()
    temperature = visit.air_temperature_c
    return {
        "key": visit.key,
        "date": visit.date.isoformat() if visit.date else "",
        "place": visit.place,
        "air_temperature_c": None if temperature is None else plain_decimal(temperature, 1),
        "preparation": [
            {"mast": one.mast, "item": one.item, "answer": one.answer, "remark": one.remark}
            for one in given.preparation
        ],
        "sign_off": {
            "round": signed.round if signed else 0,
            "content_sha256": signed.content_sha256 if signed else "",
        },
    }


def _people(visit: Visit, issue: Issue) -> dict[str, Any]:
    return {
        "measurer": _person(visit.measurer, visit.signed_at),
        "reviewer": _person(visit.reviewer, visit.accepted_at),
        "certifier": _person(issue.certifier, issue.issued_at),
    }


def _person(person: Person | None, at: dt.datetime | None) -> dict[str, Any] | None:
    """Name, key, and when they signed, accepted or issued."""
    if person is None:
        return None
    return {"name": person.name, "key": person.key, "at": instant(at) if at else ""}


def _instruments(given: inputs.Visit) -> list[dict[str, Any]]:
    """Each instrument a reading was taken with, under the calibration that counted on the day."""
    used = {reading.instrument for reading in given.readings}
    known = {one.identifier: one for one in StoredInstrument.objects.filter(identifier__in=used)}
    keys = [one.calibration for one in given.instruments]
    records = {one.key: one for one in Calibration.objects.filter(key__in=keys)}
    return [
        {
            "identifier": one.identifier,
            "kind": one.kind,
            "accuracy_class": one.accuracy_class or "",
            "maker": known[one.identifier].maker if one.identifier in known else "",
            "serial_number": known[one.identifier].serial_number if one.identifier in known else "",
            "calibration": _calibration(one, records.get(one.calibration)),
        }
        for one in given.instruments
        if one.identifier in used
    ]


def _calibration(instrument: inputs.Instrument, record: Calibration | None) -> dict[str, Any] | None:
    if instrument.calibrated_on is None:
        return None
    expanded = record.expanded_uncertainty if record else None
    return {
        "calibrated_on": instrument.calibrated_on.isoformat(),
        "due_on": instrument.due_on.isoformat() if instrument.due_on else "",
        "laboratory": record.laboratory if record else "",
        "reference": record.reference if record else "",
        "error": plain_decimal(instrument.calibration_error, 2),
        "expanded_uncertainty": None if expanded is None else plain_decimal(expanded, 2),
        "unit": "kg" if instrument.kind == "scale" else "mm",
    }


def normal(value: Any) -> Any:
    """Every text in normal form C; a float that slipped in is an error of ours, not something to round quietly."""
    match value:
        case str():
            return unicodedata.normalize("NFC", value)
        case dict():
            return {key: normal(one) for key, one in value.items()}
        case list() | tuple():
            return [normal(one) for one in value]
        case None | bool() | int():
            return value
    raise TypeError(f"A snapshot holds texts and whole numbers only, not {value!r}.")
