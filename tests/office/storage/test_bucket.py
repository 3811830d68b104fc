"""Photographs in a bucket: the same pages, checks, backups and walks through the register as from the disk."""

from __future__ import annotations

from io import StringIO
from pathlib import Path

import pytest
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.core.management import CommandError, call_command
from django.urls import reverse

from office.backups import archive, making, restoring
from office.certificates.verification import photos
from office.storage.address import Address, StorageAway, address_of
from office.storage.files import names, try_out
from office.upkeep import checks
from surveys.actions.photos import add_photo, remove_photo
from surveys.models import Photo
from tests.surveys.makers import Stage, picture, record_kit, register_boat

pytestmark = pytest.mark.django_db


@pytest.fixture
def stage(cast) -> Stage:
    return Stage(cast, register_boat(cast), record_kit(cast))


def add(stage: Stage, visit) -> Photo:
    file = picture()
    return add_photo(by=stage.cast.measurer, visit=visit, file=file, size=len(file.getvalue()))


def keys(bucket) -> set[str]:
    return {one.key for one in bucket.objects.all()}


def test_kept_shown_and_removed_there(client, cast, stage, bucket):
    visit = stage.visit()
    photo = add(stage, visit)
    assert keys(bucket) == {f"office/{photo.name}", f"office/{photo.thumb_name}"}
    address = reverse("surveys:photo", args=[visit.key, photo.key])
    client.force_login(cast.measurer)
    answer = client.get(address)
    assert (answer.status_code, answer.content) == (200, photo.content())
    assert "Location" not in answer.headers
    for stranger in (cast.other_owner, cast.second_measurer, cast.stranger):
        client.force_login(stranger)
        assert client.get(address).status_code in {403, 404}
    client.logout()
    assert client.get(address).status_code == 302
    with pytest.raises(ValueError, match="no address of their own"):
        default_storage.url(photo.name)


def test_a_removed_one_goes_and_one_that_is_refused_never_stays(
    cast, stage, bucket, django_capture_on_commit_callbacks
):
    visit = stage.visit()
    photo = add(stage, visit)
    with django_capture_on_commit_callbacks(execute=True):
        remove_photo(by=cast.measurer, photo=photo, reason="Blurred.")
    assert keys(bucket) == set()
    visit = stage.visit("signed")
    with pytest.raises(Exception, match="signed"):
        add(stage, visit)
    assert keys(bucket) == set()


def test_the_register_looks_at_them(stage, bucket):
    visit = stage.visit()
    lost, altered = add(stage, visit), add(stage, visit)
    assert list(photos.check_all()) == []
    bucket.Object(f"office/{lost.name}").delete()
    bucket.Object(f"office/{altered.name}").put(Body=b"another")
    assert [one.sentence for one in photos.check_all()] == [
        "Its file is not where the office keeps it.",
        "Its file was altered: it does not have its hash.",
    ]


def test_a_storage_that_is_away_is_a_page(client, cast, stage, bucket, settings):
    visit = stage.visit()
    photo = add(stage, visit)
    settings.PHOTO_STORAGE = "s3://photos?endpoint=http://127.0.0.1:9"
    settings.STORAGES = dict(settings.STORAGES)  # made anew
    client.force_login(cast.measurer)
    client.raise_request_exception = False
    answer = client.get(reverse("surveys:photo", args=[visit.key, photo.key]))
    assert answer.status_code == 503
    assert "127.0.0.1:9" not in answer.content.decode()
    with pytest.raises(CommandError, match="not checked to its end"):
        call_command("verify_register", stdout=StringIO())


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("", None),
        ("s3://photos", Address("photos", "", None, None)),
        ("s3://photos/a/b/", Address("photos", "a/b", None, None)),
        ("s3://photos/a?endpoint=https://store:9000&region=x", Address("photos", "a", "https://store:9000", "x")),
    ],
)
def test_addresses(text, found):
    assert address_of(text) == found


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("ftp://photos", "“ftp” is no storage"),
        ("photos", "“photos” is no storage"),
        ("s3://key:secret@photos", "AWS_ACCESS_KEY_ID"),
        ("s3:///a", "“” is no name of a bucket"),
        ("s3://Photos_1", "no name of a bucket"),
        ("s3://photos?endpiont=https://x", "“endpiont” is not known"),
        ("s3://photos?endpoint=store.example", "“store.example” is no endpoint"),
    ],
)
def test_an_address_that_is_none_is_said_at_the_start(settings, text, sentence):
    settings.PHOTO_STORAGE = text
    assert [sentence in one.msg for one in checks.storage_can_be_read()] == [True]
    assert "secret@" not in checks.storage_can_be_read()[0].msg


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"PHOTO_STORAGE": "s3://other-bucket?endpoint={s3}"}, "has no bucket “other-bucket”"),
        ({"PHOTO_STORAGE": "s3://photos?endpoint=http://127.0.0.1:9"}, "does not answer"),
    ],
)
def test_what_is_wrong_is_one_sentence(bucket, s3, settings, change, sentence):
    for name, value in change.items():
        setattr(settings, name, value.format(s3=s3))
    settings.STORAGES = dict(settings.STORAGES)
    with pytest.raises(StorageAway, match=sentence):
        try_out()


def test_without_a_key(bucket, settings, monkeypatch, tmp_path):
    monkeypatch.delenv("AWS_ACCESS_KEY_ID")
    monkeypatch.delenv("AWS_SECRET_ACCESS_KEY")
    monkeypatch.setenv("AWS_SHARED_CREDENTIALS_FILE", str(tmp_path / "none"))
    settings.STORAGES = dict(settings.STORAGES)
    with pytest.raises(StorageAway, match="set AWS_ACCESS_KEY_ID"):
        try_out()


def test_a_trial_leaves_nothing(bucket):
    try_out()
    assert keys(bucket) == set()


def test_a_backup_holds_them_and_a_restore_brings_them_back(stage, bucket, settings, tmp_path):
    settings.DATA_DIR, settings.BACKUP_DIR = tmp_path / "data", tmp_path / "backups"
    (settings.DATA_DIR / "media" / "photos").mkdir(parents=True)
    (settings.DATA_DIR / "media" / "photos" / "former.jpg").write_bytes(b"on the disk before it was moved")
    secret, settings.BACKUP_RECIPIENT = archive.new_identity()
    photo = add(stage, stage.visit())
    whole = photo.content()
    made = making.make(settings.BACKUP_DIR)
    inside = {name for name in made.manifest["members"] if name.startswith("data/media/")}
    assert inside == {f"data/media/{photo.name}", f"data/media/{photo.thumb_name}"}
    unpacked = tmp_path / "unpacked"
    archive.read(made.path, secret, _made(unpacked))
    bucket.Object(f"office/{photo.name}").put(Body=b"spoilt")
    bucket.Object(f"office/{photo.thumb_name}").delete()
    aside = tmp_path / "aside"
    assert restoring.put_photos(unpacked, aside) == 2
    assert photo.content() == whole
    assert set(names(default_storage)) == {photo.name, photo.thumb_name}
    assert (aside / "media" / photo.name).read_bytes() == b"spoilt"
    assert not (unpacked / "data" / "media").exists()
    archive.read(made.path, secret, _made(tmp_path / "again"))
    assert restoring.put_photos(tmp_path / "again", aside) == 0


def _made(directory: Path) -> Path:
    directory.mkdir()
    return directory


def test_moved_from_the_disk_and_back(cast, stage, bucket, settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path / "media"
    there = settings.STORAGES
    settings.STORAGES = there | {"default": {"BACKEND": "django.core.files.storage.FileSystemStorage"}}
    visit = stage.visit()
    good, lost = add(stage, visit), add(stage, visit)
    whole = good.content()
    (tmp_path / "media" / lost.name).unlink()
    settings.STORAGES = there
    said = StringIO()
    with pytest.raises(CommandError, match="1 photographs were not copied"):
        call_command("move_photos", stdout=said, stderr=StringIO())
    assert "2 files copied, 0 were there." in said.getvalue()
    assert good.content() == whole
    assert (tmp_path / "media" / good.name).read_bytes() == whole  # nothing is removed
    remove_photo(by=cast.measurer, photo=lost, reason="Lost.")
    said = StringIO()
    call_command("move_photos", stdout=said)
    assert "0 files copied, 2 were there." in said.getvalue()
    settings.MEDIA_ROOT = tmp_path / "elsewhere"
    call_command("move_photos", "--back", stdout=said)
    assert (tmp_path / "elsewhere" / good.name).read_bytes() == whole


def test_nothing_to_move_to(settings):
    settings.PHOTO_STORAGE = ""
    with pytest.raises(CommandError, match="OFFICE_PHOTO_STORAGE"):
        call_command("move_photos")


def test_the_last_word_on_a_name(bucket):
    """Names are random; what is written under one twice is the later file, not a second one under another name."""
    assert default_storage.save("photos/a.jpg", ContentFile(b"1")) == "photos/a.jpg"
    assert default_storage.save("photos/a.jpg", ContentFile(b"2")) == "photos/a.jpg"
    with default_storage.open("photos/a.jpg") as file:
        assert file.read() == b"2"
