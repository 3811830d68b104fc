"""A storage that speaks S3, on this machine, gone after the tests."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import boto3
import pytest
from moto.server import ThreadedMotoServer

REGION = "eu-central-1"
BUCKET = "photos"


@pytest.fixture(scope="session")
def s3() -> Iterator[str]:
    """The address of the server."""
    server = ThreadedMotoServer(ip_address="127.0.0.1", port=0, verbose=False)
    server.start()
    host, port = server.get_host_and_port()
    yield f"http://{host}:{port}"
    server.stop()


@pytest.fixture
def bucket(s3: str, settings: Any, monkeypatch: Any) -> Iterator[Any]:
    """An empty bucket, and an office that keeps its photographs there."""
    monkeypatch.setenv("AWS_ACCESS_KEY_ID", "key")
    monkeypatch.setenv("AWS_SECRET_ACCESS_KEY", "secret")
    monkeypatch.setenv("AWS_EC2_METADATA_DISABLED", "true")
    resource = boto3.resource("s3", endpoint_url=s3, region_name=REGION)
    made = resource.Bucket(BUCKET)
    made.create(CreateBucketConfiguration={"LocationConstraint": REGION})
    settings.PHOTO_STORAGE = f"s3://{BUCKET}/office?endpoint={s3}&region={REGION}"
    settings.STORAGES = settings.STORAGES | {"default": {"BACKEND": "office.storage.bucket.Bucket"}}
    yield made
    made.objects.all().delete()
    made.delete()
    resource.meta.client.close()
