"""The office's settings as the tests use them."""

from __future__ import annotations

import atexit
import shutil
import tempfile
from pathlib import Path

from office.settings import *  # noqa: F403
from office.settings import DATABASES, STORAGES

SECRET_KEY = "only for tests"
ALLOWED_HOSTS = ["testserver", "127.0.0.1", "localhost"]
PUBLIC_URL = "http://127.0.0.1:8000"
TIME_ZONE = "UTC"
KEY_PASSPHRASE = "only for these tests, nowhere else"

# A directory for each process: several runs on one machine do not meet.
SCRATCH = Path(tempfile.mkdtemp(prefix="office-tests-"))
atexit.register(shutil.rmtree, SCRATCH, ignore_errors=True)
MEDIA_ROOT = SCRATCH / "media"
STATIC_ROOT = SCRATCH / "static"
STATIC_ROOT.mkdir()

if DATABASES["default"]["ENGINE"] == "office.sqlite3":
    # A file, as in the office: a database in memory would know neither WAL nor two connections.
    DATABASES["default"]["NAME"] = str(SCRATCH / "office.sqlite3")
    DATABASES["default"]["TEST"] = {"NAME": str(SCRATCH / "test.sqlite3")}
DATABASES["default"]["CONN_MAX_AGE"] = 0
DATABASES["default"]["CONN_HEALTH_CHECKS"] = False
# Tests begin and end connections as they need; test_pool.py looks at the office's own.
DATABASES["default"].get("OPTIONS", {}).pop("pool", None)

# No collected files in tests, and passwords that cost nothing; test_settings.py looks at the office's own choices.
STORAGES["staticfiles"] = {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"}
# Tests sign people in by force and see pages as they are behind a second factor; those about it set these back.
SECOND_FACTOR = False
CONFIRM_WITHIN = None
PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
