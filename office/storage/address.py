"""Where photographs are kept: on this machine's disk, or in a bucket that speaks S3; by the setting's one address."""

from __future__ import annotations

import re
from dataclasses import dataclass
from urllib.parse import parse_qsl, urlsplit

EXPECTED = "expected s3://bucket/prefix, or s3://bucket/prefix?endpoint=https://host:port&region=name"
_BUCKET = re.compile(r"[a-z0-9][a-z0-9.-]{1,61}[a-z0-9]")


class StorageAway(OSError):
    """The storage of photographs does not answer, or does not let the office in: one sentence, without its address."""


@dataclass(frozen=True, slots=True)
class Address:
    bucket: str
    prefix: str
    endpoint: str | None
    region: str | None


def address_of(text: str) -> Address | None:
    """None where photographs lie on the disk. Raises ValueError with what was expected."""
    if not text.strip():
        return None
    parts = urlsplit(text.strip())
    given = dict(parse_qsl(parts.query, keep_blank_values=True))
    unknown = sorted(given.keys() - {"endpoint", "region"})
    if parts.scheme != "s3":
        raise ValueError(f"“{parts.scheme or text}” is no storage of photographs; {EXPECTED}.")
    if "@" in parts.netloc:
        raise ValueError("The keys of the storage go into AWS_ACCESS_KEY_ID and AWS_SECRET_ACCESS_KEY, not here.")
    if not _BUCKET.fullmatch(parts.netloc):
        raise ValueError(f"“{parts.netloc}” is no name of a bucket; {EXPECTED}.")
    if unknown:
        raise ValueError(f"“{unknown[0]}” is not known after the question mark; {EXPECTED}.")
    endpoint = given.get("endpoint") or None
    if endpoint and (urlsplit(endpoint).scheme not in {"http", "https"} or not urlsplit(endpoint).hostname):
        raise ValueError(f"“{endpoint}” is no endpoint; {EXPECTED}.")
    return Address(parts.netloc, parts.path.strip("/"), endpoint, given.get("region") or None)
