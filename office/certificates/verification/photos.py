"""Photographs: each file that is kept has its hash, and the trail tells of each that was added."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator

from office.audit.digest import row_sha256
from office.audit.models import Entry
from office.certificates.verification.findings import Misfit, guarded, parsed, readable
from surveys.actions.photos import REMOVED
from surveys.models import Photo


def check_all() -> Iterator[Misfit]:
    added, removed = _told("add_photo", "after"), _told("remove_photo", "before")
    for photo in readable(Photo.objects.select_related("visit__boat"), "key"):
        if isinstance(photo, Misfit):
            yield photo
            continue
        name = f"photograph {photo.key} of the {photo.visit}"
        told, taken_off = added.pop(photo.key, {}), removed.pop(photo.key, None)
        yield from guarded(name, _row(photo, name, told, taken_off))
        if photo.removed_at is None:
            yield from guarded(name, _files(photo, name, told.get("small_sha256", "")))
    for key, told in added.items():
        yield Misfit(
            f"photograph {key}", f"Row {told['row']} of the trail tells of it, but the register does not hold it."
        )


def _row(photo: Photo, name: str, told: dict[str, str], taken_off: dict[str, str] | None) -> Iterator[Misfit]:
    if told.get("sha256") != photo.sha256 or told.get("row_sha256", _added(photo)) != _added(photo):
        yield Misfit(name, "The trail tells nothing of this photograph as it is kept.")
    if (photo.removed_at is not None) != (taken_off is not None):
        yield Misfit(name, "Trail and register differ on whether it was removed.")
    elif taken_off and taken_off.get("removal", row_sha256(photo)) != row_sha256(photo):
        yield Misfit(name, "The trail tells otherwise of its removal.")
    elif taken_off is None and (photo.removed_by_id or photo.removed_reason):
        yield Misfit(name, "It has not been removed, but says by whom or why it was.")


def _told(verb: str, side: str) -> dict[str, dict[str, str]]:
    """What the trail says of each photograph under a verb, by its key; with the digest that its removal left."""
    rows = Entry.objects.filter(verb=verb).values_list("number", side, "after")
    return {
        str(told.get("photo")): told | {"row": str(number), **_removal(verb, after)}
        for number, told, after in ((number, parsed(text), parsed(after)) for number, text, after in rows)
    }


def _removal(verb: str, after: dict[str, str]) -> dict[str, str]:
    return {"removal": after["row_sha256"]} if verb == "remove_photo" and "row_sha256" in after else {}


def _added(photo: Photo) -> str:
    return row_sha256(photo, without=REMOVED)


def _files(photo: Photo, name: str, small_sha256: str) -> Iterator[Misfit]:
    for small, wanted in ((False, photo.sha256), (True, small_sha256)):
        what = "small form" if small else "file"
        try:
            content = photo.content(small=small)
        except FileNotFoundError:
            yield Misfit(name, f"Its {what} is not where the office keeps it.")
            continue
        if wanted and hashlib.sha256(content).hexdigest() != wanted:
            yield Misfit(name, f"Its {what} was altered: it does not have its hash.")
