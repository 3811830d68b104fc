"""The web application, as any WSGI server starts it."""

from __future__ import annotations

import os
from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

from django.core.wsgi import get_wsgi_application
from django.utils.http import parse_header_parameters

from office import memory

if TYPE_CHECKING:
    from _typeshed.wsgi import StartResponse, WSGIEnvironment

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "office.settings")

UTF_8 = {"utf-8", "utf8"}
django_application = get_wsgi_application()
memory.settle()


def application(environ: WSGIEnvironment, start_response: StartResponse) -> Iterable[bytes]:
    """The office, for requests in UTF-8: every browser's are.

    The framework would decode by whatever codec a request names, before any middleware is asked: some decode to no
    text and end in an error outside every page, some to halves of characters that no database stores.
    """
    if speaks_utf_8(environ.get("CONTENT_TYPE", "")):
        answer: Iterable[bytes] = django_application(environ, start_response)
        return answer
    start_response("400 Bad Request", [("Content-Type", "text/plain; charset=utf-8")])
    return [b"The request could not be read: expected text in UTF-8. Nothing has been stored.\n"]


def speaks_utf_8(content_type: str) -> bool:
    try:
        parameters: dict[str, Any] = parse_header_parameters(content_type)[1]
    except (LookupError, ValueError):  # a codec named within the header itself; more than a header may hold
        return False
    return str(parameters.get("charset", "utf-8")).lower() in UTF_8
