"""The office with every page made by its view and template at each request: none is kept."""

from __future__ import annotations

import os

from django.conf import settings

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "office.settings")
settings.MIDDLEWARE = [one for one in settings.MIDDLEWARE if one != "office.racing.kept_pages.KeptPages"]

from office.wsgi import application  # noqa: E402  (it reads the settings)

__all__ = ["application"]
