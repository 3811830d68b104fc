"""Photographs: made anew without what a camera writes beside the picture, kept under a hash, removed with a reason."""

from __future__ import annotations

import hashlib
import io
import json
import struct
import zlib
from typing import Any

import pytest
from django.core.files.storage import default_storage
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import DatabaseError, connection, transaction
from django.test import Client
from django.urls import reverse
from PIL import Image, PngImagePlugin

from office.audit import triggers
from office.audit.models import Entry as TrailRow
from office.audit.refusals import NotAllowed, WrongState
from office.certificates.verification import photos
from surveys.actions.photos import PhotoExists, add_photo, remove_photo
from surveys.content import canonical_content
from surveys.models import Photo, Visit
from surveys.photographs import LARGEST_FILE, LARGEST_KEPT, LONGEST_SIDE, picture_of
from surveys.values import Unreadable
from tests.surveys.makers import Stage, picture
from tests.surveys.test_dock import FOOT, Device

TOKEN = "photo-token-of-a-device"


@pytest.fixture(autouse=True)
def _storage(tmp_path: Any, settings: Any) -> None:
    settings.MEDIA_ROOT = tmp_path


@pytest.fixture
def visit(stage: Stage) -> Visit:
    return stage.visit()


def add(stage: Stage, visit: Visit, file: io.BytesIO | None = None, part: str = "measurer", **more: Any) -> Photo:
    file = file or picture()
    size = len(file.getvalue())
    return add_photo(by=getattr(stage.cast, part), visit=visit, file=file, size=size, **more)


def opened(content: bytes) -> Image.Image:
    return Image.open(io.BytesIO(content))


# ---- The picture made anew ----


def camera_file() -> io.BytesIO:
    """A JPEG as a phone writes it: turned by its tag, with place, owner, thumbnail-sized comment and colour profile."""
    exif = Image.Exif()
    exif[0x0112] = 6  # turned a quarter to the right when shown
    exif[0x010F], exif[0x9C9D], exif[0x8298] = "Secret Maker", "Somebody".encode("utf-16le"), "Secret Owner"
    gps = exif.get_ifd(0x8825)
    gps[1], gps[2], gps[3], gps[4] = "N", (54.0, 12.0, 34.5), "E", (10.0, 6.0, 7.8)
    gps[29] = "2031:07:19"
    xmp = b"<x:xmpmeta xmlns:x='adobe:ns:meta/'>Secret Place</x:xmpmeta>"
    return picture(80, 40, exif=exif, comment=b"Secret Comment", xmp=xmp)


def test_nothing_of_what_the_camera_wrote_survives() -> None:
    given = camera_file()
    assert b"Secret" in given.getvalue()
    assert opened(given.getvalue()).getexif().get_ifd(0x8825)[2] == (54.0, 12.0, 34.5)
    kept = picture_of(given, 1000)
    for content in (kept.content, kept.small):
        again = opened(content)
        assert dict(again.getexif()) == {}
        assert set(again.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"}
        for trace in (b"Secret", b"Exif", b"2031:07:19", b"xmpmeta", b"S\x00o\x00m\x00e", b"ICC_PROFILE", b"Photoshop"):
            assert trace not in content
        markers = {content[place + 1] for place in range(len(content) - 1) if content[place] == 0xFF}
        assert not markers & {0xE1, 0xE2, 0xED, 0xFE}, "an application segment or a comment"


def test_it_stands_upright() -> None:
    kept = picture_of(camera_file(), 1000)
    assert (kept.width, kept.height) == (40, 80)
    shown = opened(kept.content)
    red, _, blue = shown.getpixel((37, 3))  # type: ignore[misc]  # the red corner, top left, has turned to the top right
    assert red > blue


def test_a_large_one_is_brought_to_size() -> None:
    kept = picture_of(picture(4000, 3000), 1000)
    assert (kept.width, kept.height) == (LONGEST_SIDE, LONGEST_SIDE * 3 // 4)
    assert max(opened(kept.small).size) == 320


def test_even_noise_is_kept_small() -> None:
    noise = Image.effect_noise((2500, 2500), 120).convert("RGB")
    file = io.BytesIO()
    noise.save(file, "JPEG", quality=95)
    assert len(file.getvalue()) > 3 * LARGEST_KEPT
    file.seek(0)
    assert len(picture_of(file, 1000).content) <= LARGEST_KEPT


@pytest.mark.parametrize(
    ("kind", "mode"), [("PNG", "RGBA"), ("PNG", "P"), ("PNG", "I;16"), ("WEBP", "RGBA"), ("JPEG", "CMYK")]
)
def test_other_kinds_become_plain_pictures(kind: str, mode: str) -> None:
    file = io.BytesIO()
    Image.new(mode, (30, 20)).save(file, kind)
    file.seek(0)
    kept = opened(picture_of(file, 1000).content)
    assert (kept.format, kept.mode, kept.size) == ("JPEG", "RGB", (30, 20))


def png_that_says(width: int, height: int) -> bytes:
    """A PNG of a few bytes whose header promises more pixels than any memory holds."""

    def chunk(kind: bytes, content: bytes) -> bytes:
        return struct.pack(">I", len(content)) + kind + content + struct.pack(">I", zlib.crc32(kind + content))

    header = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", header)
        + chunk(b"IDAT", zlib.compress(b"\0" * 9999))
        + chunk(b"IEND", b"")
    )


def png_with_a_bomb_beside_it() -> bytes:
    more = PngImagePlugin.PngInfo()
    more.add_text("words", "x" * 90_000_000, zip=True)
    file = io.BytesIO()
    Image.new("RGB", (5, 5)).save(file, "PNG", pnginfo=more)
    return file.getvalue()


GOOD = picture().getvalue()
NO_PICTURES = {
    "empty": b"",
    "text": b"not a picture",
    "svg": b"<svg xmlns='http://www.w3.org/2000/svg'><script>alert(1)</script></svg>",
    "html": b"<!doctype html><script>alert(1)</script>",
    "pdf": b"%PDF-1.7",
    "gif": b"GIF89a" + b"\0" * 40,
    "half": GOOD[: len(GOOD) // 2],
    "header": GOOD[:20],
    "bomb": png_that_says(60_000, 60_000),
    "wide": png_that_says(30_000_001, 1),
    "nought": png_that_says(0, 0),
    "tiff": b"II*\0" + b"\0" * 100,
}


@pytest.mark.parametrize("name", list(NO_PICTURES))
def test_what_is_no_photograph_is_refused_in_a_sentence(stage: Stage, visit: Visit, name: str) -> None:
    with pytest.raises(Unreadable, match=r"Photograph: .*expected"):
        add(stage, visit, io.BytesIO(NO_PICTURES[name]))
    assert not Photo.objects.exists()
    assert not default_storage.exists("photos")


def test_words_packed_beside_the_picture_are_left_behind_or_refused() -> None:
    content = png_with_a_bomb_beside_it()
    assert len(content) < 200_000
    try:
        kept = picture_of(io.BytesIO(content), len(content))
    except Unreadable:
        return
    assert len(kept.content) < 10_000


def test_too_many_bytes_are_refused_unread() -> None:
    with pytest.raises(Unreadable, match="12 MiB"):
        picture_of(io.BytesIO(GOOD), LARGEST_FILE + 1)


# ---- Kept with the visit ----


def test_it_is_kept_under_its_hash_and_in_the_trail(stage: Stage, visit: Visit) -> None:
    photo = add(stage, visit, place=("foot_distance", "main", ""), remark="At the gooseneck", token=TOKEN)
    content = photo.content()
    assert hashlib.sha256(content).hexdigest() == photo.sha256
    assert (len(content), opened(content).size) == (photo.size, (photo.width, photo.height))
    assert len(photo.name) == len("photos/") + 32 + len(".jpg"), "a name nobody guesses"
    told = json.loads(TrailRow.objects.get(verb="add_photo").after)
    assert len(told.pop("row_sha256")) == len(told.pop("small_sha256")) == 64
    assert told == {
        "photo": photo.key, "sha256": photo.sha256, "reading": "foot_distance", "mast": "main", "position": "",
        "remark": "At the gooseneck",
    }  # fmt: skip
    assert photo.sha256 in canonical_content(visit)
    with pytest.raises(PhotoExists) as again:
        add(stage, visit, token=TOKEN)
    assert again.value.photo == photo
    assert len(default_storage.listdir("photos")[1]) == 2


def test_it_is_removed_with_a_reason_and_its_hash_stays(
    stage: Stage, visit: Visit, django_capture_on_commit_callbacks: Any
) -> None:
    photo = add(stage, visit)
    with pytest.raises(Unreadable, match="Reason"):
        remove_photo(by=stage.cast.measurer, photo=photo, reason=" ")
    with django_capture_on_commit_callbacks(execute=True):
        remove_photo(by=stage.cast.measurer, photo=photo, reason="Shows a passer-by.")
    assert not default_storage.exists(photo.name)
    assert not default_storage.exists(photo.thumb_name)
    assert Photo.objects.get().sha256 == photo.sha256
    assert photo.sha256 in TrailRow.objects.get(verb="remove_photo").before
    assert photo.sha256 not in canonical_content(visit)
    with pytest.raises(WrongState, match="already"):
        remove_photo(by=stage.cast.measurer, photo=photo, reason="Again.")
    with pytest.raises(DatabaseError), transaction.atomic():
        Photo.objects.update(sha256="0" * 64)
    with pytest.raises(DatabaseError), transaction.atomic():
        Photo.objects.all().delete()


@pytest.mark.parametrize("part", ["second_measurer", "reviewer", "certifier", "administrator", "owner", "stranger"])
def test_only_the_visits_measurer_adds_and_removes(stage: Stage, visit: Visit, part: str) -> None:
    photo = add(stage, visit)
    with pytest.raises(NotAllowed):
        add(stage, visit, part=part)
    with pytest.raises(NotAllowed):
        remove_photo(by=getattr(stage.cast, part), photo=photo, reason="No.")


def test_what_is_signed_keeps_its_photographs(stage: Stage, visit: Visit) -> None:
    photo = add(stage, visit)
    stage.fill(visit)
    visit.refresh_from_db()
    stage.sign(visit)
    with pytest.raises(WrongState):
        add(stage, visit)
    with pytest.raises(WrongState):
        remove_photo(by=stage.cast.measurer, photo=photo, reason="Late.")


# ---- The addresses ----


def upload(phone: Device, content: bytes = GOOD, **more: Any) -> Any:
    given = {"token": TOKEN, "row": FOOT, "remark": "", **more}
    file = SimpleUploadedFile("../../../etc/passwd.svg", content, content_type="image/svg+xml")
    return phone.client.post(reverse("surveys:dock_photo", args=[phone.visit.key]), {**given, "photo": file})


def test_a_device_sends_one_and_sees_it(stage: Stage, visit: Visit) -> None:
    phone = Device(stage, visit)
    answer = upload(phone).json()
    assert answer["answers"][0]["outcome"] == "stored"
    [shown] = answer["state"]["photos"]
    assert (shown["row"], shown["token"]) == (FOOT, TOKEN)
    assert upload(phone).json()["answers"][0]["outcome"] == "already"
    assert Photo.objects.count() == 1
    assert Photo.objects.get().name.startswith("photos/")
    picture = phone.client.get(shown["url"])
    assert picture.headers["Content-Type"] == "image/jpeg"
    assert picture.headers["X-Content-Type-Options"] == "nosniff"
    assert picture.content == Photo.objects.get().content()
    again = phone.client.get(
        shown["thumb"], headers={"If-None-Match": phone.client.get(shown["thumb"]).headers["ETag"]}
    )
    assert again.status_code == 304


@pytest.mark.parametrize(
    ("change", "status"),
    [
        ({"content": NO_PICTURES["svg"]}, 200),
        ({"content": NO_PICTURES["bomb"]}, 200),
        ({"row": "no-such-row"}, 200),
        ({"token": "../../short"}, 200),
        ({"remark": "x" * 201}, 200),
        ({"content": b"\xff\xd8" + b"\0" * (LARGEST_FILE + 100_000)}, 413),
    ],
)
def test_bad_photographs_are_refused_in_json(stage: Stage, visit: Visit, change: dict[str, Any], status: int) -> None:
    answer = upload(Device(stage, visit), **change)
    assert answer.status_code == status
    if status == 200:
        assert answer.json()["answers"][0]["outcome"] == "refused"
        assert answer.json()["answers"][0]["sentence"]
    else:
        assert answer.json()["refused"]
    assert not Photo.objects.exists()
    assert not default_storage.exists("photos") or not default_storage.listdir("photos")[1]


def test_nothing_but_multipart_is_taken(stage: Stage, visit: Visit) -> None:
    phone = Device(stage, visit)
    address = reverse("surveys:dock_photo", args=[visit.key])
    assert phone.client.post(address, "{}", content_type="application/json").status_code == 415
    answer = phone.client.post(address, b"--x\r\n", content_type="multipart/form-data; boundary=x")
    assert answer.json()["answers"][0]["outcome"] == "refused"
    for stated in ("x", "-1", "\u0662"):  # what it says of its length is no number
        answer = phone.client.post(address, b"--x\r\n", "multipart/form-data; boundary=x", CONTENT_LENGTH=stated)
        assert answer.status_code in {200, 422}, stated
    garbled = b"no boundary"
    assert phone.client.post(address, garbled, content_type="multipart/form-data").status_code == 422
    strict = Client(enforce_csrf_checks=True)  # looks for its token in the form before the address is asked
    strict.force_login(stage.cast.measurer)
    strict.get(reverse("surveys:dock_state", args=[visit.key]))
    answer = strict.post(address, garbled, content_type="multipart/form-data")
    assert (answer.status_code, bool(answer.json()["refused"])) == (422, True)


def test_the_rights_are_those_of_the_visit(stage: Stage, visit: Visit) -> None:
    photo = add(stage, visit)
    for part, person in stage.cast.people().items():
        client = Client()
        client.force_login(person)
        status = client.get(reverse("surveys:photo", args=[visit.key, photo.key])).status_code
        expected = 200 if part in {"measurer", "reviewer", "certifier", "administrator", "owner"} else 403
        assert status == expected, part
    client = Client()
    client.force_login(stage.cast.measurer)
    other = stage.visit()
    assert client.get(reverse("surveys:photo", args=[other.key, photo.key])).status_code == 404
    for name in ("..%2f..%2fsecret_key", "%2e%2e", "photos"):
        assert client.get(f"/visits/{visit.key}/photos/{name}/").status_code == 404
    default_storage.delete(photo.name)
    assert client.get(reverse("surveys:photo", args=[visit.key, photo.key])).status_code == 404


def test_the_pages_without_scripts(stage: Stage, visit: Visit) -> None:
    client = Client()
    client.force_login(stage.cast.measurer)
    address = reverse("surveys:photos", args=[visit.key])
    file = SimpleUploadedFile("boat.jpg", GOOD, content_type="image/jpeg")
    assert client.post(address, {"photo": file, "row": FOOT, "remark": "Gooseneck"}).status_code == 302
    bad = SimpleUploadedFile("boat.jpg", b"nothing", content_type="image/jpeg")
    assert "expected a photograph" in client.post(address, {"photo": bad}).content.decode().lower()
    photo = Photo.objects.get()
    page = client.get(reverse("surveys:visit", args=[visit.key])).content.decode()
    assert reverse("surveys:photo", args=[visit.key, photo.key]) in page
    assert "Foot along the boom" in client.get(address).content.decode()
    remove = reverse("surveys:remove_photo", args=[visit.key, photo.key])
    assert client.get(remove).status_code == 200
    assert client.post(remove, {"reason": "Blurred."}).status_code == 302
    assert "There are no photographs" in client.get(address).content.decode()


def test_the_register_finds_a_file_that_was_altered_lost_or_never_told_of(stage: Stage, visit: Visit) -> None:
    altered, lost, untold = (add(stage, visit) for _ in range(3))
    assert list(photos.check_all()) == []
    default_storage.delete(altered.name)
    default_storage.save(altered.name, picture(9, 9))
    default_storage.delete(lost.name)
    triggers.drop_triggers(connection)
    try:
        Photo.objects.filter(pk=untold.pk).update(sha256="0" * 64)
    finally:
        triggers.create_triggers(connection)
    said = [one.sentence for one in photos.check_all()]
    assert said == [
        "Its file was altered: it does not have its hash.",
        "Its file is not where the office keeps it.",
        "The trail tells nothing of this photograph as it is kept.",
        "Its file was altered: it does not have its hash.",
    ]
