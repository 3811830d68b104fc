"""Random changes behind the office's back: which rows and files there are, what is done to them, who must be named."""

from __future__ import annotations

import datetime as dt
import functools
import random
import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from django.conf import settings
from django.db import connection, models

from boats.models import Boat
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
from office.complaints import models as complaints
from office.people.models import Authorisation
from office.racing.models import SpotCheck, SpotInstrument, SpotReading, Statement
from surveys.models import Calibration, Maintenance, Photo, Reading, SignOff, Visit
from surveys.transitions import FROZEN

Model = type[models.Model]
# What no signature, hash or row of the trail holds, and need not: how a private key is locked and who vouched for it
# is told by the key's own certificate.
# A complainant's name and contact may be taken away.
LEFT_OUT: dict[Model, set[str]] = {
    OfficeKey: {"private", "issued_by_id"},
    complaints.Complaint: {"complainant_name", "complainant_contact"},
}
OF_NO_KIND: tuple[str | bytes | float, ...] = (
    "x", "2026-13-45", "2026-01-01 25:00:00", b"\xff\x00", -7, 1.5, 10**18,
)  # fmt: skip
ILL_TYPED = 0.1  # of the changes of columns
LONGEST_RUN = 6  # of neighbouring rows of the trail that go together
SIGNED_CONDITIONS = (
    "date", "place", "air_temperature_c", "remark", "measurer_id", "boat_id", "rig_id", "state", "interest",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Change:
    """One change: what it does, whom findings must name, and the areas of the office that findings may be about."""

    what: str
    names: tuple[tuple[str, ...], ...]  # of each, one pattern
    areas: frozenset[str]
    do: Callable[[], object]
    undo: Callable[[], object] | None = None
    alone: bool = False  # findings may be about any area


def seen(names: tuple[tuple[str, ...], ...], findings: list[str]) -> bool:
    """Whether each is named; a row of the trail also by "rows 7 to 9"."""
    said = [spelt_out(finding) for finding in findings]
    return all(any(re.search(name, finding) for name in either for finding in said) for either in names)


@functools.cache
def spelt_out(finding: str) -> str:
    def each(found: re.Match[str]) -> str:
        return ", ".join(f"row {number}" for number in range(int(found[1]), int(found[2]) + 1))

    return re.sub(r"\brows (\d+) to (\d+)\b", each, finding)


class Tamperer:
    def __init__(self, chance: random.Random) -> None:
        self.chance = chance
        self.rows: dict[Model, list[models.Model]] = {
            model: list(model._base_manager.order_by("pk"))
            for model in (
                Entry, SignOff, Reading, Photo, Certificate, Document, Seal, Suspension, Amendment, AmendmentDocument,
                AmendmentSeal,
                OfficeKey, SpotCheck, SpotInstrument, SpotReading, Statement, Calibration, Maintenance,
                Authorisation, complaints.Complaint, complaints.Note, complaints.Decision, complaints.Consequence,
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
        if isinstance(row, Entry) and chosen < 0.08:
            return self._run(row)
        if model is not Visit and chosen < 0.13:
            return self._about(row, "deleted", lambda: model._base_manager.filter(pk=row.pk)._raw_delete("default"))
        if model is not Visit and chosen < 0.18:
            return self._about(row, "copied", lambda: self._copy(row), alone=isinstance(row, Entry))
        return self._column(model, row)

    def _about(
        self,
        row: models.Model,
        what: str,
        do: Callable[[], object],
        *,
        reaches: frozenset[str] = frozenset(),
        alone: bool = False,
    ) -> Change:
        names, area = whom(row)
        if isinstance(row, Entry) and what == "deleted":
            names = (*names, *self._further(row))
        if isinstance(row, Entry) and what == "copied":
            names = (rf"\b[Rr]ow {self.rows[Entry][-1].pk + 1}\b",)
        alone = alone or isinstance(row, OfficeKey)  # every certificate hangs on a key
        return Change(f"{row._meta.label} {row.pk} {what}", (names,), reaches | {area}, do, alone=alone)

    def _run(self, first: Entry) -> Change:
        """Neighbouring rows of the trail gone: each of them is named."""
        last = min(first.pk + self.chance.randint(1, LONGEST_RUN - 1), self.rows[Entry][-1].pk)
        gone = [row for row in self.rows[Entry] if isinstance(row, Entry) and first.pk <= row.pk <= last]
        return Change(
            f"{first._meta.label} {first.pk} to {last} deleted",
            tuple((*whom(row)[0], *self._further(row)) for row in gone),
            frozenset(whom(row)[1] for row in gone),
            lambda: Entry._base_manager.filter(pk__range=(first.pk, last))._raw_delete("default"),
            alone=last > self._nothing_follows,
        )

    @property
    def _nothing_follows(self) -> int:
        return int(self.rows[Entry][-1].pk) - LONGEST_RUN

    def _further(self, row: Entry) -> tuple[str, ...]:
        """The last rows of the trail leave no gap: what they told of is named instead."""
        told = (row.visit, row.certificate, row.subject)
        return tuple(re.escape(one) for one in told if one) if row.pk > self._nothing_follows else ()

    def _column(self, model: Model, row: models.Model) -> Change:
        fields = [
            field
            for field in model._meta.concrete_fields
            if not field.primary_key
            and field.attname not in LEFT_OUT.get(model, ())
            and (model is not Visit or field.attname in SIGNED_CONDITIONS)
        ]
        field = self.chance.choice(fields)
        if connection.vendor == "sqlite" and self.chance.random() < ILL_TYPED:
            return self._ill_typed(row, field)
        former = getattr(row, field.attname)
        value = self._other(field, former)
        if value == former:
            return self.change()  # there is no other one
        return self._about(
            row,
            f"{field.attname}: {str(former)[:40]!r} -> {str(value)[:40]!r}",
            lambda: model._base_manager.filter(pk=row.pk).update(**{field.attname: value}),
            reaches=reached(field, value) | reached(field, former),
        )

    def _ill_typed(self, row: models.Model, field: models.Field[Any, Any]) -> Change:
        """SQLite takes anything in any column."""
        value = self.chance.choice(OF_NO_KIND)
        table, key = row._meta.db_table, row._meta.pk.column
        statement = f"UPDATE {table} SET {field.column} = %s WHERE {key} = %s"

        def do() -> None:
            with connection.cursor() as cursor:
                cursor.execute(statement, [value, row.pk])

        reaches = reached(field, getattr(row, field.attname)) | reached(field, value)
        return self._about(row, f"{field.attname}: {value!r}, ill-typed", do, reaches=reaches)

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
            ((re.escape(photo.key),),),
            frozenset({f"boat {photo.visit.boat.key}"}),
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
        return (rf"\b[Rr]ow {row.pk}\b",), f"boat {row.boat}" if row.boat else f"{row.subject_kind} {row.subject}"
    if isinstance(row, OfficeKey):
        return (re.escape(row.identifier),), "keys"
    if isinstance(row, Calibration | Maintenance):
        return (rf"\b{re.escape(row.instrument.identifier)}\b",), f"instrument {row.instrument.identifier}"
    if isinstance(row, complaints.Note | complaints.Decision | complaints.Consequence):
        row = row.complaint
    if isinstance(row, Statement | Authorisation | complaints.Complaint):
        area = f"person {row.person.key}" if isinstance(row, Authorisation) else f"{row._meta.verbose_name} {row.key}"
        return (re.escape(row.key),), area
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


def reached(field: models.Field[Any, Any], key: Any) -> frozenset[str]:
    """The boat that such a reference leads to."""
    if key is None or not isinstance(field, models.ForeignKey):
        return frozenset()
    row: Any = field.related_model._base_manager.filter(pk=key).first() if isinstance(key, int) else None
    while row is not None and not isinstance(row, Boat):
        names = ("boat", "visit", "certificate", "spot_check", "amendment")
        row = next((getattr(row, name) for name in names if hasattr(row, name)), None)
    return frozenset({f"boat {row.key}"} if row else ())
