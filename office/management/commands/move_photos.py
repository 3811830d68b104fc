"""`manage.py move_photos`: carries the photographs from this machine's disk into the bucket, or back."""

from __future__ import annotations

import hashlib
import sys
from collections.abc import Iterator
from typing import Any

from django.conf import settings
from django.core.files.base import ContentFile
from django.core.files.storage import FileSystemStorage, Storage, default_storage
from django.core.management.base import BaseCommand, CommandError, CommandParser

from office.management.progress import Progress
from office.storage.address import StorageAway
from surveys.models import Photo


class Command(BaseCommand):
    help = (
        "Copies every photograph from `media` under OFFICE_DATA into the storage of OFFICE_PHOTO_STORAGE, each held "
        "against its hash on both sides. Nothing is removed; called again it copies what is missing. Set the variable "
        "for this command first, then for the server."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--back", action="store_true", help="from the storage to the disk")

    def handle(self, *, back: bool, **options: Any) -> None:
        if not settings.PHOTO_STORAGE:
            raise CommandError("Say in OFFICE_PHOTO_STORAGE which storage is meant.")
        disk = FileSystemStorage(location=settings.MEDIA_ROOT)
        source, target = (default_storage, disk) if back else (disk, default_storage)
        try:
            copied, there, amiss = copy(source, target)
        except StorageAway as error:
            raise CommandError(f"{error} What was copied stays; call it again.") from error
        self.stdout.write(f"{copied} files copied, {there} were there.")
        if amiss:
            for sentence in amiss:
                self.stderr.write(sentence)
            raise CommandError(f"{len(amiss)} photographs were not copied.")


def copy(source: Storage, target: Storage) -> tuple[int, int, list[str]]:
    """How many files were copied, how many were there, and a sentence for each photograph that could not be."""
    copied, there, amiss = 0, 0, []
    kept = Photo.objects.filter(removed_at__isnull=True).order_by("pk")
    progress = Progress(sys.stderr, "photographs")
    total = kept.count()
    for done, photo in enumerate(kept.iterator(chunk_size=500), start=1):
        progress(done, total)
        for name, sha256 in _files(photo):
            content = _read(source, name)
            if content is None or (sha256 and hashlib.sha256(content).hexdigest() != sha256):
                amiss.append(f"{photo.key}: {name} is {'altered' if content else 'missing'} where it comes from.")
                break
            if _read(target, name) == content:
                there += 1
                continue
            target.delete(name)
            target.save(name, ContentFile(content))
            if _read(target, name) != content:
                amiss.append(f"{photo.key}: {name} did not arrive as it was.")
                break
            copied += 1
    progress.end()
    return copied, there, amiss


def _files(photo: Photo) -> Iterator[tuple[str, str]]:
    """A photograph's two files; the small one bears no hash of its own."""
    yield photo.name, photo.sha256
    yield photo.thumb_name, ""


def _read(storage: Storage, name: str) -> bytes | None:
    try:
        with storage.open(name) as file:
            content: bytes = file.read()
    except FileNotFoundError:
        return None
    return content
