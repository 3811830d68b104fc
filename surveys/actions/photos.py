"""Photographs as evidence: added to a visit or to one of its readings, and removed with a reason."""

from __future__ import annotations

import hashlib
import secrets
from functools import partial
from typing import IO

from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.db import transaction
from django.utils import timezone

from office.audit.digest import row_sha256
from office.audit.refusals import WrongState
from office.people.models import Person
from surveys import rules
from surveys.actions.changes import finish, lock
from surveys.actions.reasons import given_reason
from surveys.logsheet.fields import LONGEST_REMARK
from surveys.models import Photo, Visit
from surveys.photographs import picture_of
from surveys.row_keys import Place
from surveys.values import Unreadable, seen

MOST_PHOTOS = 60  # of one visit (judgement, no source)
REMOVED = ("removed_by_id", "removed_at", "removed_reason")  # columns that come with the removal


class PhotoExists(WrongState):
    """A photograph with this token is kept already."""

    def __init__(self, photo: Photo) -> None:
        super().__init__("This photograph is kept already.")
        self.photo = photo


def add_photo(
    *,
    by: Person,
    visit: Visit,
    file: IO[bytes],
    size: int,
    place: Place | None = None,
    remark: str = "",
    token: str | None = None,
) -> Photo:
    """Keep a photograph, made anew without its metadata. Raises PhotoExists, or Unreadable where it is none."""
    rules.check_may_measure(by, visit)
    rules.check_state(visit, "write")
    _check_new(visit, token)
    picture = picture_of(file, size)  # before the lock: it takes its time
    stem = secrets.token_hex(16)
    names = [f"photos/{stem}.jpg", f"photos/{stem}.small.jpg"]
    slug, mast, position = place or ("", "", "")
    try:
        for name, content in zip(names, (picture.content, picture.small), strict=True):
            default_storage.save(name, ContentFile(content))
        with transaction.atomic():
            return _keep(
                Photo(
                    visit=visit,
                    slug=slug,
                    mast=mast,
                    position=position,
                    name=names[0],
                    sha256=picture.sha256,
                    size=len(picture.content),
                    width=picture.width,
                    height=picture.height,
                    added_by=by,
                    remark=seen("Remark", remark, LONGEST_REMARK, "remark"),
                    **({"token": token} if token else {}),
                ),
                hashlib.sha256(picture.small).hexdigest(),
            )
    except BaseException:
        _forget(names)
        raise


@transaction.atomic
def remove_photo(*, by: Person, photo: Photo, reason: str) -> Photo:
    """Take a photograph off the visit; its row and its hash stay, the picture itself goes."""
    visit = photo.visit
    lock(visit)
    rules.check_state(visit, "write")
    rules.check_may_measure(by, visit)
    photo.refresh_from_db(fields=["removed_at"])
    if photo.removed_at is not None:
        raise WrongState("This photograph has been removed already.")
    photo.removed_by, photo.removed_at, photo.removed_reason = by, timezone.now(), given_reason(reason, 300)
    photo.save(update_fields=["removed_by", "removed_at", "removed_reason"])
    after = {"row_sha256": row_sha256(photo)}
    finish(visit, by=by, verb="remove_photo", before=_summary(photo), after=after, reason=photo.removed_reason)
    transaction.on_commit(partial(_forget, [photo.name, photo.thumb_name]))
    return photo


def _keep(photo: Photo, small_sha256: str) -> Photo:
    visit = photo.visit
    lock(visit)
    rules.check_state(visit, "write")
    rules.check_may_measure(photo.added_by, visit)
    _check_new(visit, photo.token)
    if visit.photos.filter(removed_at__isnull=True).count() >= MOST_PHOTOS:
        raise WrongState(f"A visit keeps at most {MOST_PHOTOS} photographs; remove one that is not needed.")
    photo.save(force_insert=True)
    after = {**_summary(photo), "row_sha256": row_sha256(photo, without=REMOVED), "small_sha256": small_sha256}
    finish(visit, by=photo.added_by, verb="add_photo", after=after)
    return photo


def _check_new(visit: Visit, token: str | None) -> None:
    known = Photo.objects.filter(token=token).first() if token else None
    if known is not None and known.visit_id != visit.pk:
        raise Unreadable("Token", "", "one that no other photograph bears", "token")
    if known is not None:
        raise PhotoExists(known)


def _forget(names: list[str]) -> None:
    for name in names:
        default_storage.delete(name)


def _summary(photo: Photo) -> dict[str, str]:
    about = {"reading": photo.slug, "mast": photo.mast, "position": photo.position} if photo.slug else {}
    return {"photo": photo.key, "sha256": photo.sha256, **about, **({"remark": photo.remark} if photo.remark else {})}
