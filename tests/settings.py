"""The product's settings with what tests must not wait for or write to."""

import tempfile
from pathlib import Path

from restorer.settings import *  # noqa: F403

PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
CACHES = {"default": {"BACKEND": "django.core.cache.backends.locmem.LocMemCache"}}
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.InMemoryStorage"},
    "staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"},
}
WHITENOISE_AUTOREFRESH = True
STATIC_ROOT = Path(tempfile.mkdtemp(prefix="restorer-static-"))
MEDIA_ROOT = Path(tempfile.mkdtemp(prefix="restorer-photos-"))
BASE_URL = "https://decks.example.com"
EMAIL_TIMEOUT = 5
