"""Designs and the limits the office has entered for them; a new limit ends the former one."""

from __future__ import annotations

import math
from typing import Any

from django.db import IntegrityError, transaction
from django.utils import timezone

from boats import particulars, rules
from boats.actions.common import reason_of
from boats.models import Design, DesignLimit
from computations.catalogue import DIMENSIONS
from computations.inputs import MAST_NAMES
from office.audit import trail
from office.audit.refusals import Refusal, WrongState
from office.people.models import Person


@transaction.atomic
def add_design(*, by: Person, name: str, designer: str = "", remark: str = "") -> Design:
    rules.check_keeps_register(by)
    try:
        title = particulars.limited(name, 80, "The name")
        designed_by = particulars.limited(designer, 120, "The designer")
    except ValueError as error:
        raise Refusal(str(error)) from error
    if not title:
        raise Refusal("A design needs a name.")
    if Design.objects.filter(name__iexact=title).exists():
        raise WrongState(f"The design {title} is registered already.")
    try:
        with transaction.atomic():
            design = Design.objects.create(name=title, designer=designed_by, remark=remark.strip())
    except IntegrityError as error:  # in the same moment
        raise WrongState(f"The design {title} is registered already.") from error
    after = {"name": title, "designer": designed_by, "remark": design.remark}
    trail.record(by=by, verb="add_design", subject=design, after=after)
    return design


@transaction.atomic
def set_limit(
    *,
    by: Person,
    design: Design,
    dimension: str,
    mast: str = "main",
    least: float | None = None,
    greatest: float | None = None,
    source: str,
) -> DesignLimit:
    """Least and greatest of one dimension, in its own unit; a limit for the same dimension and mast ends now."""
    rules.check_keeps_register(by)
    origin = particulars.tidy(source)[:200]
    _check_limit(dimension, mast, least, greatest, origin)
    Design.objects.select_for_update(no_key=True).get(pk=design.pk)
    former = DesignLimit.objects.filter(design=design, dimension=dimension, mast=mast, ended_at__isnull=True).first()
    if former and (former.least, former.greatest, former.source) == (least, greatest, origin):
        raise WrongState("This limit stands already.")
    now = timezone.now()
    if former:
        former.ended_at = now
        former.save(update_fields=["ended_at"])
    limit = DesignLimit.objects.create(
        design=design, dimension=dimension, mast=mast, least=least, greatest=greatest, source=origin, since=now
    )
    before = _plain_limit(former) if former else None
    trail.record(by=by, verb="set_limit", subject=design, before=before, after=_plain_limit(limit))
    return limit


def _check_limit(dimension: str, mast: str, least: float | None, greatest: float | None, source: str) -> None:
    kind = DIMENSIONS.get(dimension)
    if kind is None:
        raise Refusal(f"“{dimension}” is not a dimension of the catalogue.")
    if mast not in MAST_NAMES:
        raise Refusal(f"“{mast}” is not a mast; expected {', '.join(MAST_NAMES)}.")
    if not source:
        raise Refusal("A limit needs its source: the document, its edition and the clause.")
    given = [value for value in (least, greatest) if value is not None]
    if not given:
        raise Refusal("A limit says a least figure, a greatest one, or both.")
    if not all(math.isfinite(value) and abs(value) < 1e7 for value in given):
        raise Refusal(f"A limit of {kind.name.lower()} was expected to be a number below 10 000 000 {kind.unit}.")
    if least is not None and greatest is not None and least > greatest:
        raise Refusal(f"The least, {least:g}, is more than the greatest, {greatest:g}.")


@transaction.atomic
def end_limit(*, by: Person, limit: DesignLimit, reason: str) -> DesignLimit:
    rules.check_keeps_register(by)
    limit = DesignLimit.objects.select_for_update(of=("self",), no_key=True).select_related("design").get(pk=limit.pk)
    rules.check_limit_open(limit)
    why = reason_of(reason)
    limit.ended_at = timezone.now()
    limit.save(update_fields=["ended_at"])
    trail.record(by=by, verb="end_limit", subject=limit.design, before=_plain_limit(limit), reason=why)
    return limit


def _plain_limit(limit: DesignLimit) -> dict[str, Any]:
    return {
        "dimension": limit.dimension,
        "mast": limit.mast,
        "least": limit.least,
        "greatest": limit.greatest,
        "source": limit.source,
    }
