"""The product's settings with what tests must not wait for or write to."""

import os
import shutil

from restorer.settings import *  # noqa: F403

PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
CACHES = {"default": {"BACKEND": "django.core.cache.backends.locmem.LocMemCache"}}
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.InMemoryStorage"},
    "staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"},
}
WHITENOISE_AUTOREFRESH = True
STATIC_ROOT = VAR_DIR / "test-static"  # noqa: F405
STATIC_ROOT.mkdir(parents=True, exist_ok=True)
MEDIA_ROOT = VAR_DIR / "test-photos"  # noqa: F405
# Each process of tests counts its own requests from nothing; what it starts counts with it.
METRICS_DIR = VAR_DIR / "metrics" / os.environ.get("PYTEST_XDIST_WORKER", "alone")  # noqa: F405
if os.environ["PROMETHEUS_MULTIPROC_DIR"] != str(METRICS_DIR):
    shutil.rmtree(METRICS_DIR, ignore_errors=True)
    METRICS_DIR.mkdir(parents=True)
    os.environ["PROMETHEUS_MULTIPROC_DIR"] = str(METRICS_DIR)
BASE_URL = "https://decks.example.com"
BLOCK_UNREADY = False  # test_readiness.py asks for it
EMAIL_TIMEOUT = 5
# What the tests write need not outlive a power cut, and none of it is worth compiling.
options = DATABASES["default"].setdefault("OPTIONS", {})  # noqa: F405
options["options"] = "-c synchronous_commit=off -c jit=off"
