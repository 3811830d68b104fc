"""The office with every page and answer made by its view at each request: none is kept."""

from __future__ import annotations

import os

from django.conf import settings

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "office.settings")
KEEPING = {"office.racing.kept_pages.KeptPages", "office.interface.kept_answers.KeptAnswers"}
settings.MIDDLEWARE = [one for one in settings.MIDDLEWARE if one not in KEEPING]

from office.wsgi import application  # noqa: E402  (it reads the settings)

__all__ = ["application"]
