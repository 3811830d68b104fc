"""Random changes behind the office's back: which rows and files there are, what is done to them, who must be named."""

from __future__ import annotations

import datetime as dt
import random
import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from django.conf import settings
from django.db import models

from office.audit.models import Entry
from office.certificates.models import (
    Amendment,
    AmendmentDocument,
    AmendmentSeal,
    Certificate,
    Document,
    OfficeKey,
    Seal,
    Suspension,
)
from office.people.models import Authorisation
from office.racing.models import SpotCheck, SpotInstrument, SpotReading, Statement
from surveys.models import Calibration, Maintenance, Photo, Reading, SignOff, Visit
from surveys.transitions import FROZEN

Model = type[models.Model]
# What no signature, hash or row of the trail holds, and need not: how a private key is locked and who vouched for it
# is told by the key's own certificate.
LEFT_OUT: dict[Model, set[str]] = {OfficeKey: {"private", "issued_by_id"}}
SIGNED_CONDITIONS = (
    "date", "place", "air_temperature_c", "remark", "measurer_id", "boat_id", "rig_id", "state", "interest",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Change:
    """One change: what it does, whom a finding must name (one of these patterns), and where else it may be seen."""

    what: str
    names: tuple[str, ...]
    area: str
    do: Callable[[], object]
    undo: Callable[[], object] | None = None
    alone: bool = False  # it may be named in another area as well


def seen(names: tuple[str, ...], findings: list[str]) -> bool:
    return any(re.search(name, finding) for name in names for finding in findings)


class Tamperer:
    def __init__(self, chance: random.Random) -> None:
        self.chance = chance
        self.rows: dict[Model, list[models.Model]] = {
            model: list(model._base_manager.order_by("pk"))
            for model in (
                Entry, SignOff, Reading, Photo, Certificate, Document, Seal, Suspension, Amendment, AmendmentDocument,
                AmendmentSeal,
                OfficeKey, SpotCheck, SpotInstrument, SpotReading, Statement, Calibration, Maintenance,
                Authorisation,
            )
        }  # fmt: skip
        self.rows[Visit] = list(Visit.objects.filter(state__in=FROZEN))
        self.keys = {
            model: list(model._base_manager.values_list("pk", flat=True))
            for rows in self.rows
            for field in rows._meta.concrete_fields
            if isinstance(field, models.ForeignKey) and isinstance(model := field.related_model, type)
        }
        kept = Photo.objects.filter(removed_at=None)  # the other's files go with the end of a transaction
        self.files = [Path(settings.MEDIA_ROOT, name) for one in kept for name in (one.name, one.thumb_name)]

    def change(self) -> Change:
        chosen = self.chance.random()
        if chosen < 0.03:
            return self._file()
        model = self.chance.choice(list(self.rows))
        row = self.chance.choice(self.rows[model])
        if model is not Visit and chosen < 0.13:
            return self._about(row, "deleted", lambda: model._base_manager.filter(pk=row.pk)._raw_delete("default"))
        if model is not Visit and chosen < 0.18:
            return self._about(row, "copied", lambda: self._copy(row), alone=True)
        return self._column(model, row)

    def _about(self, row: models.Model, what: str, do: Callable[[], object], *, alone: bool = False) -> Change:
        names, area = whom(row)
        if isinstance(row, Entry) and what == "deleted":
            names = (*names, *further(row))
        if isinstance(row, Entry) and what == "copied":
            names = (rf"\b[Rr]ow {self.rows[Entry][-1].pk + 1}\b",)
        return Change(f"{row._meta.label} {row.pk} {what}", names, area, do, alone=alone)

    def _column(self, model: Model, row: models.Model) -> Change:
        fields = [
            field
            for field in model._meta.concrete_fields
            if not field.primary_key
            and field.attname not in LEFT_OUT.get(model, ())
            and (model is not Visit or field.attname in SIGNED_CONDITIONS)
        ]
        field = self.chance.choice(fields)
        former = getattr(row, field.attname)
        value = self._other(field, former)
        if value == former:
            return self.change()  # there is no other one
        refers = isinstance(field, models.ForeignKey)
        if refers and self.chance.random() < 0.6:
            return self.change()  # each needs a walk of its own: fewer of these
        return self._about(
            row,
            f"{field.attname}: {str(former)[:40]!r} -> {str(value)[:40]!r}",
            lambda: model._base_manager.filter(pk=row.pk).update(**{field.attname: value}),
            alone=refers or field.unique,
        )

    def _copy(self, row: models.Model) -> object:
        model = type(row)
        values = {field.attname: getattr(row, field.attname) for field in model._meta.concrete_fields}
        values[str(model._meta.pk.attname)] = (model._base_manager.order_by("-pk").first() or row).pk + 1
        for field in model._meta.concrete_fields:
            if field.unique and not field.primary_key and isinstance(field, models.CharField):
                values[field.attname] = f"{values[field.attname]}x"[-20:]
        return model._base_manager.bulk_create([model(**values)])

    def _file(self) -> Change:
        path = self.chance.choice(self.files)
        former = path.read_bytes()
        stem = path.name.partition(".")[0]
        photo = Photo.objects.get(name__contains=stem)
        at = self.chance.randrange(len(former))
        turned = former[:at] + bytes([former[at] ^ (1 << self.chance.randrange(8))]) + former[at + 1 :]
        other = self.chance.choice([turned, former[:at], former + b"\0", b"", None])

        def do() -> None:
            path.unlink() if other is None else path.write_bytes(other)

        what = "gone" if other is None else f"{len(former)} -> {len(other)} bytes"
        return Change(
            f"{path.name} {what}",
            (re.escape(photo.key),),
            f"boat {photo.visit.boat.key}",
            do,
            lambda: path.write_bytes(former),
        )

    # ---- Another value for a column ----

    def _other(self, field: models.Field[Any, Any], value: Any) -> Any:
        drawn = (self._drawn(field, value) for _ in range(20))
        return next((one for one in drawn if one != value), value)

    def _drawn(self, field: models.Field[Any, Any], value: Any) -> Any:
        chance = self.chance
        if isinstance(field, models.ForeignKey):
            keys = self.keys[field.related_model]
            return chance.choice([*keys, *([None] if field.null else [])])
        if isinstance(field, models.DateField):
            return self._day(field, value)
        if isinstance(field, models.BooleanField):
            return not value
        if isinstance(field, models.FloatField):
            return chance.choice([(value or 0.0) + 0.001, -(value or 1.0), (value or 1.0) * 10, 0.0])
        if isinstance(field, models.IntegerField):
            return max(0, (value or 0) + chance.choice([-1, 1, 2]))
        if isinstance(field, models.JSONField):
            return chance.choice([[], {}, [["luff", "main"], ["foot", "main"]], None if field.null else [1]])
        return (
            self._bytes(bytes(value)) if isinstance(field, models.BinaryField) else self._text(field, str(value or ""))
        )

    def _day(self, field: models.DateField[Any, Any], value: Any) -> Any:
        chance = self.chance
        if isinstance(field, models.DateTimeField):
            return (value or dt.datetime(2026, 1, 1, tzinfo=dt.UTC)) + dt.timedelta(
                microseconds=chance.choice([1, -1, 10**6, -(10**6), 86_400 * 10**6])
            )
        return (value or dt.date(2026, 1, 1)) + dt.timedelta(days=chance.choice([-400, -1, 1, 400]))

    def _bytes(self, value: bytes) -> bytes:
        at = self.chance.randrange(len(value))
        turned = value[:at] + bytes([value[at] ^ (1 << self.chance.randrange(8))]) + value[at + 1 :]
        return self.chance.choice([turned, turned, turned, value[:at], value + b"%", b""])

    def _text(self, field: models.Field[Any, Any], value: str) -> str:
        at = self.chance.randrange(len(value) + 1)
        sign = self.chance.choice('0123456789abcXYZ-_ {}"é')
        made = self.chance.choice([
            value[:at] + sign + value[at + 1 :], value[:at] + sign + value[at:], value[:at] + value[at + 1 :],
            "", value.swapcase(), value[::-1],
        ])  # fmt: skip
        return made[: field.max_length] if field.max_length else made


# ---- Whom a finding must name ----


def whom(row: Any) -> tuple[tuple[str, ...], str]:
    """Patterns of which a finding must match one; and the area of the office in which the change lies."""
    if isinstance(row, Entry):
        return (rf"\b[Rr]ow {row.pk}\b",), f"boat {row.boat}" if row.boat else "trail"
    if isinstance(row, OfficeKey):
        return (re.escape(row.identifier),), "keys"
    if isinstance(row, Calibration | Maintenance):
        return (rf"\b{re.escape(row.instrument.identifier)}\b",), f"instrument {row.instrument.identifier}"
    if isinstance(row, Statement | Authorisation):
        return (re.escape(row.key),), f"{row._meta.verbose_name} {row.key}"
    if isinstance(row, Visit | SpotCheck | Photo):
        return (re.escape(row.key),), f"boat {(row.visit if isinstance(row, Photo) else row).boat.key}"
    if isinstance(row, Reading | SignOff):
        return (re.escape(row.visit.key),), f"boat {row.visit.boat.key}"
    if isinstance(row, SpotInstrument | SpotReading):
        return (re.escape(row.spot_check.key),), f"boat {row.spot_check.boat.key}"
    certificate = of_certificate(row)
    return (re.escape(certificate.number),), f"boat {certificate.boat.key}"


def of_certificate(row: Any) -> Certificate:
    if isinstance(row, Certificate):
        return row
    of_amendment = isinstance(row, AmendmentDocument | AmendmentSeal)
    found: Certificate = (row.amendment if of_amendment else row).certificate
    return found


def further(row: Entry) -> tuple[str, ...]:
    """The last row of the trail leaves no gap: what it told of is named instead."""
    return tuple(re.escape(one) for one in (row.visit, row.certificate, row.subject) if one)
