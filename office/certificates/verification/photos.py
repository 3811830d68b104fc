"""Photographs: each file that is kept has its hash, and the trail tells of each that was added."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator

from office.audit.models import Entry
from office.certificates.verification.findings import Misfit, parsed
from surveys.models import Photo


def check_all() -> Iterator[Misfit]:
    told = {
        (str(parsed(after).get("photo")), str(parsed(after).get("sha256")))
        for after in Entry.objects.filter(verb="add_photo").values_list("after", flat=True)
    }
    for photo in Photo.objects.select_related("visit__boat").order_by("pk").iterator(chunk_size=100):
        name = f"photograph {photo.key} of the {photo.visit}"
        if (photo.key, photo.sha256) not in told:
            yield Misfit(name, "The trail tells nothing of this photograph.")
        if photo.removed_at is None:
            yield from _file(photo, name)


def _file(photo: Photo, name: str) -> Iterator[Misfit]:
    try:
        content = photo.content()
    except FileNotFoundError:
        yield Misfit(name, "Its file is not where the office keeps it.")
        return
    if hashlib.sha256(content).hexdigest() != photo.sha256:
        yield Misfit(name, "Its file was altered: it does not have its hash.")
