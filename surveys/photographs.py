"""A photograph made anew: turned upright, brought to size, without anything the camera wrote besides the picture."""

from __future__ import annotations

import hashlib
import io
import zlib
from dataclasses import dataclass
from typing import IO

from PIL import Image, ImageOps

from surveys.values import Unreadable

LARGEST_FILE = 12 * 1024 * 1024  # bytes, as sent
# The kinds that are read, and the pixels of each: a JPEG, as phones make them, is read at a fraction of its size, the
# others whole. More is a bomb (judgement, no source).
MOST_PIXELS = {"JPEG": 50_000_000, "PNG": 25_000_000, "WEBP": 25_000_000}
LONGEST_SIDE = 2048
SMALL_SIDE = 320
LARGEST_KEPT = 1_000_000  # bytes, as kept
_QUALITIES = (85, 75, 65, 50, 35, 20)
EXPECTED = "a photograph as JPEG, PNG or WebP"
# What the library raises at files that are no pictures, or broken ones.
_BROKEN = (OSError, SyntaxError, ValueError, TypeError, IndexError, KeyError, EOFError, OverflowError, MemoryError,
           zlib.error, Image.DecompressionBombError, Image.DecompressionBombWarning)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Picture:
    """The picture as it is kept, and a small one for lists; both JPEG."""

    content: bytes
    small: bytes
    width: int
    height: int

    @property
    def sha256(self) -> str:
        return hashlib.sha256(self.content).hexdigest()


def picture_of(file: IO[bytes], size: int) -> Picture:
    """The photograph made anew from its pixels alone. Raises Unreadable with what was expected."""
    if size > LARGEST_FILE:
        raise _unfit(f"{size / 1024 / 1024:.0f} MiB", f"at most {LARGEST_FILE // 1024 // 1024} MiB")
    try:
        return _made_anew(file)
    except _BROKEN as broken:
        raise _unfit("", EXPECTED) from broken


def _made_anew(file: IO[bytes]) -> Picture:
    with Image.open(file, formats=tuple(MOST_PIXELS)) as given:
        width, height = given.size
        most = MOST_PIXELS[given.format or "JPEG"]
        if width * height > most:
            raise _unfit(f"{width} x {height} pixels", f"at most {most // 1_000_000} million pixels")
        given.draft("RGB", (LONGEST_SIDE, LONGEST_SIDE))  # a JPEG is read at the size that is needed
        upright = ImageOps.exif_transpose(given)
        upright.thumbnail((LONGEST_SIDE, LONGEST_SIDE))
        plain = _pixels(upright)
    content = _jpeg(plain, _QUALITIES, LARGEST_KEPT)
    small = plain.copy()
    small.thumbnail((SMALL_SIDE, SMALL_SIDE))
    return Picture(content, _jpeg(small, (75,), LARGEST_KEPT), plain.width, plain.height)


def _pixels(picture: Image.Image) -> Image.Image:
    """A new image with the pixels alone; what shows through is white."""
    plain = Image.new("RGB", picture.size, "white")
    if picture.mode in ("RGBA", "LA", "PA") or "transparency" in picture.info:
        shown = picture.convert("RGBA")
        plain.paste(shown, mask=shown.getchannel("A"))
    else:
        plain.paste(picture.convert("RGB"))
    return plain


def _jpeg(picture: Image.Image, qualities: tuple[int, ...], largest: int) -> bytes:
    for quality in qualities:
        kept = io.BytesIO()
        picture.save(kept, "JPEG", quality=quality, optimize=True)
        if kept.tell() <= largest:
            break
    return kept.getvalue()


def _unfit(found: str, expected: str) -> Unreadable:
    return Unreadable("Photograph", found, expected, "photo")
