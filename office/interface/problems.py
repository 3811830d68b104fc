"""Errors as problem details (RFC 9457, from memory): one JSON form for everything that goes wrong."""

from __future__ import annotations

import json
from http import HTTPStatus
from typing import Any

from django.http import HttpResponse

CONTENT_TYPE = "application/problem+json"


def problem(status: int, detail: str, **more: Any) -> HttpResponse:
    """`type` is about:blank, so `title` is the phrase of the status."""
    content = {"type": "about:blank", "title": HTTPStatus(status).phrase, "status": status, "detail": detail, **more}
    answer = HttpResponse(json.dumps(content), status=status, content_type=CONTENT_TYPE)
    answer.headers["Cache-Control"] = "no-store"
    return answer


def unauthorised(detail: str) -> HttpResponse:
    answer = problem(401, detail)
    answer.headers["WWW-Authenticate"] = "Bearer"
    return answer


def too_many(wait: int) -> HttpResponse:
    answer = problem(429, f"Too many requests in this minute; ask again in {wait} seconds.")
    answer.headers["Retry-After"] = str(wait)
    return answer
