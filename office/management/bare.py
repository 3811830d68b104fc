"""A Django view that says hello, without any middleware: what an answer can cost at the least."""

from __future__ import annotations

from django.conf import settings
from django.core.wsgi import get_wsgi_application
from django.http import HttpRequest, HttpResponse
from django.urls import path


def hello(request: HttpRequest) -> HttpResponse:
    return HttpResponse("hello", headers={"Content-Length": "5"})


urlpatterns = [path("", hello)]

settings.configure(ROOT_URLCONF=__name__, SECRET_KEY="hello", ALLOWED_HOSTS=["127.0.0.1"], MIDDLEWARE=[])  # noqa: S106
application = get_wsgi_application()
