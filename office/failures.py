"""What is answered where a request failed as a whole: too large, the store not to be written, or a fault of ours.

None of these pages asks the database.
"""

from __future__ import annotations

import errno
import sys
from collections.abc import Iterator

from django.contrib.sessions.exceptions import SessionInterrupted
from django.core.exceptions import RequestDataTooBig
from django.db import DatabaseError, InterfaceError, OperationalError
from django.http import HttpRequest, HttpResponse
from django.template.loader import render_to_string
from django.views import defaults

from office.storage.address import StorageAway

RETRY_SECONDS = "30"
NO_ROOM = {errno.ENOSPC, errno.EDQUOT, errno.EROFS, errno.EFBIG}
READ_ONLY = "25006"  # PostgreSQL: a write in a read-only transaction, as on a server that stands by


def bad_request(request: HttpRequest, exception: Exception) -> HttpResponse:
    if isinstance(exception, RequestDataTooBig):
        return too_large(request)
    if isinstance(exception, SessionInterrupted) and any(is_of_the_store(one) for one in _behind(exception)):
        return unavailable()
    return defaults.bad_request(request, exception)


def too_large(request: HttpRequest) -> HttpResponse:
    return HttpResponse(render_to_string("413.html"), status=413)


def server_error(request: HttpRequest) -> HttpResponse:
    """503 where what failed is the disk or the database, which come back; 500 for the rest."""
    if not is_of_the_store(sys.exc_info()[1]):
        return defaults.server_error(request)
    return unavailable()


def unavailable() -> HttpResponse:
    answer = HttpResponse(render_to_string("503.html"), status=503)
    answer.headers["Retry-After"] = RETRY_SECONDS
    return answer


def _behind(problem: BaseException) -> Iterator[BaseException]:
    """What an error was raised over, and what that was raised over."""
    behind = problem.__cause__ or problem.__context__
    while behind is not None:
        yield behind
        behind = behind.__cause__ or behind.__context__


def is_of_the_store(problem: BaseException | None) -> bool:
    """Disk full or read-only; database read-only, gone, or busy for longer than anybody waits; photographs away."""
    if isinstance(problem, StorageAway):
        return True
    if isinstance(problem, OSError):
        return problem.errno in NO_ROOM
    if isinstance(problem, OperationalError | InterfaceError):
        return True
    return isinstance(problem, DatabaseError) and getattr(problem.__cause__, "sqlstate", "") == READ_ONLY
