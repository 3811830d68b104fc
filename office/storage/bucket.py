"""Photographs in a bucket that speaks S3. They are private there, and reach people through the office's pages only.

Credentials come from the variables that every S3 client reads (AWS_ACCESS_KEY_ID, AWS_SECRET_ACCESS_KEY, or a role of
the machine). The office needs the rights to put, get, delete and list under its prefix.
"""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from botocore.config import Config
from botocore.exceptions import BotoCoreError, ClientError, NoCredentialsError, PartialCredentialsError
from django.conf import settings
from django.core.files.base import ContentFile, File
from storages.backends.s3 import S3Storage
from storages.utils import clean_name

from office.storage.address import StorageAway, address_of

NOT_THERE = {"404", "NoSuchKey", "NotFound"}
NO_KEY = "The storage of photographs has no key: set AWS_ACCESS_KEY_ID and AWS_SECRET_ACCESS_KEY."
_making = threading.Lock()


class Bucket(S3Storage):
    """The library's storage on one client for all threads, which costs memory once; its errors are StorageAway."""

    def __init__(self, **options: Any) -> None:
        address = address_of(settings.PHOTO_STORAGE)
        if address is None:
            raise ValueError("No bucket is named in OFFICE_PHOTO_STORAGE.")
        about = {
            "bucket_name": address.bucket,
            "location": address.prefix,
            "endpoint_url": address.endpoint,
            "region_name": address.region,
            "client_config": Config(
                connect_timeout=5,
                read_timeout=20,
                retries={"max_attempts": 2},
                s3={"addressing_style": "path" if address.endpoint else "auto"},
                request_checksum_calculation="when_required",  # many that speak S3 know no newer sums
                response_checksum_validation="when_required",
            ),
        }
        super().__init__(**about | options)
        self._shared: Any = None

    @property
    def connection(self) -> Any:
        with _making, _plainly(self.bucket_name):
            if self._shared is None:
                self._shared = self._create_session().resource(
                    "s3", region_name=self.region_name, endpoint_url=self.endpoint_url, config=self.client_config
                )
            return self._shared

    def _about(self, name: str) -> dict[str, str]:
        return {"Bucket": self.bucket_name, "Key": self._normalize_name(clean_name(name))}

    def _open(self, name: str, mode: str = "rb") -> File[bytes]:
        client = self.connection.meta.client
        with _plainly(self.bucket_name, name):
            return ContentFile(client.get_object(**self._about(name))["Body"].read(), name=name)

    def _save(self, name: str, content: Any) -> str:
        client = self.connection.meta.client
        content.seek(0)
        with _plainly(self.bucket_name):
            client.put_object(**self._about(name), Body=content.read(), **self._get_write_parameters(name, content))
        return str(clean_name(name))

    def delete(self, name: str) -> None:
        client = self.connection.meta.client
        with _plainly(self.bucket_name):
            client.delete_object(**self._about(name))

    def exists(self, name: str) -> bool:
        client = self.connection.meta.client
        try:
            with _plainly(self.bucket_name, name):
                client.head_object(**self._about(name))
        except FileNotFoundError:
            return False
        return True

    def listdir(self, path: str) -> tuple[list[str], list[str]]:
        with _plainly(self.bucket_name):
            directories, files = super().listdir(path)
        return directories, files

    def url(self, *args: Any, **kwargs: Any) -> str:
        raise ValueError("Photographs have no address of their own; the office's pages show them to who may see them.")


@contextmanager
def _plainly(bucket: str, name: str = "") -> Iterator[None]:
    """What the client raises, as StorageAway with a sentence; a file that is not there as FileNotFoundError."""
    try:
        yield
    except (NoCredentialsError, PartialCredentialsError) as error:
        raise StorageAway(NO_KEY) from error
    except ClientError as error:
        code, status = str(error.response.get("Error", {}).get("Code", "")), _status(error)
        if code == "NoSuchBucket":
            raise StorageAway(f"The storage of photographs has no bucket “{bucket}”.") from error
        if name and (code in NOT_THERE or status == 404):
            raise FileNotFoundError(name) from error
        if status in {401, 403}:
            raise StorageAway(f"The bucket “{bucket}” does not let the office in ({code}).") from error
        raise StorageAway(f"The storage of photographs refused what was asked ({code}).") from error
    except (BotoCoreError, ValueError) as error:  # the latter: an endpoint that is none
        raise StorageAway(f"The storage of photographs does not answer ({type(error).__name__}).") from error


def _status(error: ClientError) -> int:
    return int(error.response.get("ResponseMetadata", {}).get("HTTPStatusCode", 0))
