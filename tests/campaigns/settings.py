"""The office's settings for a server of the campaigns: cheap passwords, plain static files, nobody asked twice."""

from __future__ import annotations

from office.settings import *  # noqa: F403
from office.settings import STORAGES

PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
STORAGES["staticfiles"] = {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"}
SECOND_FACTOR = False
CONFIRM_WITHIN = None
