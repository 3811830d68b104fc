"""/api/: the operations, their description, a page that reads it, and one answer for every other address there."""

from __future__ import annotations

from collections.abc import Iterator

from django.contrib.auth.decorators import login_not_required
from django.urls import URLPattern, path

from office.interface import views
from office.interface.api import api

app_name = "api"


def _operations() -> Iterator[URLPattern]:
    """The interface's own addresses, which ask for a key and not for a sign-in."""
    for one in api.urls[0]:
        if isinstance(one, URLPattern) and one.name != "api-root" and one.callback is not None:
            one.callback = login_not_required(one.callback)
            yield one


urlpatterns = [
    path("", views.root, name="api-root"),
    path("docs/", views.docs, name="docs"),
    *_operations(),
    path("<path:rest>", views.unknown, name="unknown"),
]
