"""The office's keys made and rotated, each in one transaction with its rows of the trail.

A key that is retired stays published with its time of use, so that whatever it sealed stays checkable; its private
part is erased: what is not there cannot be stolen, and nothing can be dated back with it.
"""

from __future__ import annotations

import base64
import datetime as dt
import hashlib
from typing import TYPE_CHECKING

from django.db import transaction
from django.utils import timezone

from office.audit import trail
from office.audit.refusals import WrongState
from office.certificates import numbering
from office.certificates.models import OfficeKey
from office.certificates.seal import keyring, making, passphrase
from office.certificates.seal.published import PAPER, ROOT
from office.policy import queries as policy_queries

if TYPE_CHECKING:
    from office.people.models import Person


def make_keys(*, by: Person | None, reason: str = "") -> list[OfficeKey]:
    """Root, paper key and statement key of an office that has none. Raises WrongState where there are some."""
    with transaction.atomic():
        numbering.wait_for_turn()
        if OfficeKey.objects.filter(retired_at=None).exists():
            raise WrongState("The office has keys already; new ones come with: python3 manage.py office_keys rotate")
        office, at = policy_queries.current().office_name, _this_second()
        root = making.make_root(office, at)
        stored = _store(by, root, None, reason)
        paper = making.make_paper_key(office, root.private, root.certificate, at)
        return [
            stored,
            _store(by, paper, stored, reason),
            _store(by, making.make_statement_key(at), None, reason),
        ]


def rotate_keys(*, by: Person | None, reason: str, with_root: bool = False) -> list[OfficeKey]:
    """New paper and statement keys, and a new root if asked for; those in use so far are retired."""
    if not reason.strip():
        raise WrongState("A rotation of the keys needs its reason: it is kept with them.")
    with transaction.atomic():
        numbering.wait_for_turn()
        former = list(OfficeKey.objects.filter(retired_at=None).order_by("pk"))
        root = next((row for row in former if row.purpose == ROOT), None)
        if root is None:
            raise WrongState(keyring.NO_KEYS)
        office, at = policy_queries.current().office_name, _this_second()
        made = []
        if with_root or root.expires_at - at < making.LASTS[PAPER]:
            fresh = making.make_root(office, at)
            private, certificate = fresh.private, fresh.certificate
            newer = _store(by, fresh, None, reason)
            made.append(newer)
        else:
            private, certificate = passphrase.unlocked(root.private), base64.b64decode(root.certificate)
            newer = root
        made.append(_store(by, making.make_paper_key(office, private, certificate, at), newer, reason))
        made.append(_store(by, making.make_statement_key(at), None, reason))
        for row in former:
            if row != newer:
                _retire(by, row, at, reason)
        return made


def _this_second() -> dt.datetime:
    """Times of use are published to the second, as times of issue are."""
    return timezone.now().replace(microsecond=0)


def _store(by: Person | None, fresh: making.FreshKey, issued_by: OfficeKey | None, reason: str) -> OfficeKey:
    row = OfficeKey.objects.create(
        identifier=fresh.identifier,
        purpose=fresh.purpose,
        public=base64.b64encode(fresh.public).decode(),
        certificate=base64.b64encode(fresh.certificate).decode(),
        private=passphrase.locked(fresh.private),
        issued_by=issued_by,
        used_from=fresh.used_from,
        expires_at=fresh.expires_at,
    )
    trail.record(by=by, verb="make_office_key", subject=row, after=told_of(row), reason=reason)
    return row


def told_of(row: OfficeKey) -> dict[str, str]:
    """What the trail says of a key when it is made; the verification of the register compares it."""
    return {
        "identifier": row.identifier,
        "purpose": row.purpose,
        "public_sha256": hashlib.sha256(base64.b64decode(row.public)).hexdigest(),
        "certificate_sha256": hashlib.sha256(base64.b64decode(row.certificate)).hexdigest() if row.certificate else "",
        "used_from": trail.instant(row.used_from),
        "expires_at": trail.instant(row.expires_at),
    }


def _retire(by: Person | None, row: OfficeKey, at: dt.datetime, reason: str) -> None:
    row.retired_at = at
    row.private = ""
    row.save(update_fields=["retired_at", "private"])
    after = {"identifier": row.identifier, "retired_at": trail.instant(at)}
    trail.record(by=by, verb="retire_office_key", subject=row, before={"retired_at": ""}, after=after, reason=reason)
