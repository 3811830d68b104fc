"""Who is asked whether a sign-in is right."""

from __future__ import annotations

from typing import Any

from axes.backends import AxesStandaloneBackend
from django.http import HttpRequest


class LockOut(AxesStandaloneBackend):
    """Refuses a name from an address that failed too often. Only for requests: there is no other way in."""

    def authenticate(self, request: HttpRequest | None, *args: Any, **credentials: Any) -> None:
        if request is not None:
            super().authenticate(request, *args, **credentials)


def name_of(request: HttpRequest, credentials: dict[str, Any] | None = None) -> str:
    """The name a failure is counted for: the same whatever its case and the blanks round it."""
    given = (credentials or {}).get("username") or request.POST.get("username", "")
    return str(given).strip().lower()[:200].replace("\0", "")
