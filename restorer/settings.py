"""Settings, read from the environment only;
every value that can be wrong is looked at by restorer.checks."""

import os
import secrets
import tomllib
from importlib.metadata import version
from pathlib import Path
from urllib.parse import urlsplit

import dj_database_url
from csp.constants import NONE, SELF

from restorer import time_zones
from restorer.bucket import is_bucket
from restorer.local import postgres

BASE_DIR = Path(__file__).resolve().parent.parent
# The matrices of the forecast are small: threads of the library cost more than they bring, and the
# core has threads of its own.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

VAR_DIR = Path(os.environ.get("RESTORER_VAR", BASE_DIR / "var"))
MODE = os.environ.get("RESTORER_MODE", "book")  # "book" = the real one, "demo" = the invented one


def release_number(top: Path) -> str:
    """The version in pyproject.toml, which lies beside the source; a wheel has it in its
    metadata."""
    project = top / "pyproject.toml"
    if not project.exists():
        return version("restorer")
    return str(tomllib.loads(project.read_text())["project"]["version"])


RELEASE = release_number(BASE_DIR)


def env_flag(name: str, default: bool) -> bool:
    """True or False from an environment variable; unset means the default."""
    return os.environ.get(name, str(default)).strip().lower() in {"1", "true", "yes", "on"}


def env_list(name: str, default: str = "") -> list[str]:
    """A list from a comma-separated environment variable."""
    return [word.strip() for word in os.environ.get(name, default).split(",") if word.strip()]


def hosts_of_url(url: str) -> list[str]:
    """The host that a URL names; none if it is no URL (restorer.checks says so)."""
    try:
        return [urlsplit(url).hostname or ""] if "//" in url else []
    except ValueError:
        return []


def folder_or_bucket(name: str, default: Path) -> tuple[Path, str]:
    """A folder, and the address of a bucket where the environment names one in its place."""
    given = os.environ.get(name, "")
    return (default, given) if is_bucket(given) else (Path(given or default), "")


def persistent_secret(name: str) -> str:
    """The secret from the environment, else one made once and kept under var/ (several hosts need
    the former)."""
    if os.environ.get(name):
        return os.environ[name]
    path = VAR_DIR / name.lower()
    if not path.exists():
        VAR_DIR.mkdir(parents=True, exist_ok=True)
        path.write_text(secrets.token_urlsafe(50))
        path.chmod(0o600)
    return path.read_text().strip()


DEBUG = env_flag("DEBUG", False)
SECRET_KEY = persistent_secret("SECRET_KEY")
BASE_URL = os.environ.get("BASE_URL", "http://127.0.0.1:8000").rstrip("/")
ALLOWED_HOSTS = [*env_list("ALLOWED_HOSTS", "localhost,127.0.0.1,[::1]"), *hosts_of_url(BASE_URL)]
HTTPS = BASE_URL.startswith("https://")
CSRF_TRUSTED_ORIGINS = env_list("CSRF_TRUSTED_ORIGINS", BASE_URL if HTTPS else "")

INSTALLED_APPS = [
    "restorer",
    "reminders",
    "jobs",
    "clients",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.postgres",
    "django.contrib.staticfiles",
    "django.contrib.humanize",
    "django.forms",
    "auditlog",
    "axes",
    "csp",
    "django_q",
]

MIDDLEWARE = [
    "restorer.metrics.RequestTimesMiddleware",
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "clients.middleware.GzipPagesMiddleware",
    "csp.middleware.CSPMiddleware",
    "clients.middleware.PermissionsPolicyMiddleware",
    "clients.middleware.NoStoreMiddleware",
    "clients.middleware.StorableTextMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "clients.middleware.BusinessMiddleware",
    "clients.middleware.OpenSessionMiddleware",
    "clients.middleware.FrenchTypeMiddleware",
    "clients.middleware.SignInMiddleware",
    "clients.middleware.TrailMiddleware",
    "axes.middleware.AxesMiddleware",
    "clients.middleware.HandedOverMiddleware",
    "clients.middleware.KeptFormMiddleware",
]

ROOT_URLCONF = "restorer.urls"
WSGI_APPLICATION = "restorer.wsgi.application"
FORM_RENDERER = "django.forms.renderers.TemplatesSetting"
TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.debug",
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "restorer.context.page_frame",
            ],
            "builtins": [
                "clients.templatetags.formatting",
                "clients.templatetags.addresses",
                "restorer.templatetags.drawings",
            ],
        },
    }
]

OWN_DATABASE = not os.environ.get("DATABASE_URL")  # the server of our own, under var/
DATABASES = {
    "default": dj_database_url.parse(
        os.environ.get("DATABASE_URL") or postgres.database_url(),
        engine="restorer.postgresql",
        conn_max_age=60,
        conn_health_checks=True,
    )
}
# A pooler gives each transaction another connection.
POOLED_DATABASE = env_flag("POOLED_DATABASE", False)
if POOLED_DATABASE:
    DATABASES["default"]["DISABLE_SERVER_SIDE_CURSORS"] = True
    DATABASES["default"].setdefault("OPTIONS", {})["prepare_threshold"] = None
# What a lower app asks of one above it, which it may not import.
LAST_JOB_PROVIDER = "jobs.work.last_jobs.last_job_day_by_client"
FORECAST_PROVIDER = "reminders.forecasting.forecast_summaries.forecast_summaries"
ADVICE_PROVIDER = "reminders.forecasting.forecast_summaries.work_advice"
SURFACES_PROVIDER = "reminders.forecasting.forecast_summaries.surfaces_for_later"
LOOKS_PROVIDER = "reminders.forecasting.check_worth.looks_near"
OVERDUE_PROVIDER = "reminders.forecasting.forecast_summaries.overdue_deck_ids"
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"
CACHES = {
    "default": {
        "BACKEND": "django.core.cache.backends.db.DatabaseCache",
        "LOCATION": "restorer_cache",
    }
}

# People
AUTH_USER_MODEL = "clients.User"
AUTHENTICATION_BACKENDS = [
    "axes.backends.AxesStandaloneBackend",
    "django.contrib.auth.backends.ModelBackend",
]
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator"},
    {
        "NAME": "django.contrib.auth.password_validation.MinimumLengthValidator",
        "OPTIONS": {"min_length": 10},
    },
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
]
LOGIN_URL = "sign_in"
LOGIN_REDIRECT_URL = "today"
LOGOUT_REDIRECT_URL = "sign_in"
AXES_FAILURE_LIMIT = 6
AXES_COOLOFF_TIME = 0.25  # hours
AXES_LOCKOUT_PARAMETERS = [["username", "ip_address"]]
AXES_RESET_ON_SUCCESS = True
AXES_LOCKOUT_CALLABLE = "clients.views.sign_in.locked_out"
AXES_ENABLE_ADMIN = False
AXES_VERBOSE = False

# The browser
SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = "Lax"
SESSION_COOKIE_AGE = 60 * 60 * 12  # longer only on a device that was trusted at sign-in
PASSWORD_RESET_TIMEOUT = 60 * 60 * 24 * 7  # the longest of clients/signing_in
SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = HTTPS
CSRF_COOKIE_HTTPONLY = True
CSRF_FAILURE_VIEW = "restorer.views.errors.csrf_failure"
SECURE_SSL_REDIRECT = HTTPS
SECURE_HSTS_SECONDS = 60 * 60 * 24 * 365 if HTTPS else 0
SECURE_HSTS_INCLUDE_SUBDOMAINS = HTTPS
SECURE_HSTS_PRELOAD = HTTPS
SECURE_REFERRER_POLICY = "same-origin"
# then only the proxy reaches the web process, which takes the visitor's address from it
# (restorer/local/web_server.py); every page reads REMOTE_ADDR
BEHIND_PROXY = env_flag("BEHIND_PROXY", False)
SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https") if BEHIND_PROXY else None
SECURE_REDIRECT_EXEMPT = [r"^health/$"]
X_FRAME_OPTIONS = "DENY"
CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [NONE],
        "script-src": [SELF],
        "style-src": [SELF],
        "img-src": [SELF, "data:"],
        "font-src": [SELF],
        "connect-src": [SELF],
        "manifest-src": [SELF],
        "worker-src": [SELF],
        "form-action": [SELF],
        "base-uri": [NONE],
        "frame-ancestors": [NONE],
    }
}
FILE_UPLOAD_HANDLERS = [
    "clients.whole_uploads.WholeUploadHandler",
    "django.core.files.uploadhandler.MemoryFileUploadHandler",
    "django.core.files.uploadhandler.TemporaryFileUploadHandler",
]
DATA_UPLOAD_MAX_MEMORY_SIZE = 5 * 1024 * 1024
DATA_UPLOAD_MAX_NUMBER_FIELDS = 5_000

STATIC_URL = "static/"
STATIC_ROOT = VAR_DIR / "static"
DEMO_PREFIX = "demo-" if MODE == "demo" else ""  # the invented book's files lie apart from yours
# A folder, or s3://BUCKET/PREFIX of a store that speaks that protocol.
MEDIA_ROOT, MEDIA_BUCKET = folder_or_bucket("MEDIA_ROOT", VAR_DIR / f"{DEMO_PREFIX}photos")
BACKUP_DIR, BACKUP_BUCKET = folder_or_bucket("BACKUP_DIR", VAR_DIR / f"{DEMO_PREFIX}backups")
S3_ENDPOINT = os.environ.get("S3_ENDPOINT", "")
S3_KEY = os.environ.get("S3_KEY", "")
S3_SECRET = os.environ.get("S3_SECRET", "")
S3_REGION = os.environ.get("S3_REGION", "us-east-1")  # what stores without regions take
STORAGES = {
    "default": {
        "BACKEND": "restorer.bucket.files.BucketFiles",
        "OPTIONS": {"address": MEDIA_BUCKET},
    }
    if MEDIA_BUCKET
    else {"BACKEND": "restorer.storage.WholeFiles"},
    "staticfiles": {"BACKEND": "restorer.storage.ModuleStaticFiles"},
}

# Language, numbers, time. Time zones of properties are data; the business's own zone is set per
# request. People of the business read English; what clients see is in any of these
# (clients/display.py, `in_client_language`).
LANGUAGE_CODE = "en"
LANGUAGES = [("en", "English"), ("fr", "Français")]
LOCALE_PATHS = [BASE_DIR / "restorer" / "locale"]
USE_I18N = True
USE_TZ = True
TIME_ZONE = "UTC"
time_zones.use_packaged_zones()

# Mail: every setting in one block. The outbox picks its own envelope; see
# clients/messaging/channels/email.py.
EMAIL_BACKEND = os.environ.get("EMAIL_BACKEND", "django.core.mail.backends.smtp.EmailBackend")
# what the outbox goes by: test runners put another backend in the place of the first
OUTBOX_BACKEND = EMAIL_BACKEND
ANYMAIL = {
    name.removeprefix("ANYMAIL_"): value
    for name, value in os.environ.items()
    if name.startswith("ANYMAIL_")
}
EMAIL_FROM_ENVIRONMENT = "EMAIL_HOST" in os.environ  # else the page of the mail server counts
EMAIL_HOST = os.environ.get("EMAIL_HOST", "127.0.0.1")
BLOCK_UNREADY = MODE != "demo"  # nothing leaves before the parts of sending are sound
EMAIL_PORT = int(os.environ.get("EMAIL_PORT", "2525" if MODE == "demo" else "25"))
EMAIL_HOST_USER = os.environ.get("EMAIL_HOST_USER", "")
EMAIL_HOST_PASSWORD = os.environ.get("EMAIL_HOST_PASSWORD", "")
EMAIL_USE_TLS = env_flag("EMAIL_USE_TLS", False)
EMAIL_USE_SSL = env_flag("EMAIL_USE_SSL", False)
EMAIL_TIMEOUT = int(os.environ.get("EMAIL_TIMEOUT", "60"))
DEFAULT_FROM_EMAIL = SERVER_EMAIL = os.environ.get("DEFAULT_FROM_EMAIL", "office@example.com")

# The mailbox that bounces come to, read by IMAP; without a host nothing is read
# (clients/messaging/incoming/).
BOUNCES_HOST = os.environ.get("BOUNCES_HOST", "")
BOUNCES_TLS = env_flag("BOUNCES_TLS", True)
BOUNCES_CA = os.environ.get(
    "BOUNCES_CA", ""
)  # file of who signed its certificate, if not whom the machine trusts
BOUNCES_PORT = int(os.environ.get("BOUNCES_PORT", "993" if BOUNCES_TLS else "143"))
BOUNCES_USER = os.environ.get("BOUNCES_USER", "")
BOUNCES_PASSWORD = os.environ.get("BOUNCES_PASSWORD", "")
BOUNCES_MAILBOX = os.environ.get("BOUNCES_MAILBOX", "INBOX")

# networks of one's own to which webhooks may go, such as 192.168.1.0/24; else only to the internet
WEBHOOK_NETWORKS = env_list("WEBHOOK_NETWORKS")

# Text messages: all else about the gateway is a row, see clients/messaging/models/gateway.py.
GATEWAY_TIMEOUT = int(os.environ.get("GATEWAY_TIMEOUT", "30"))  # seconds to wait for an answer

# django-q2 is the alarm clock only. Why each value: docs/server.md, "The worker".
Q_CLUSTER = {
    "name": "restorer",
    "orm": "default",
    "workers": 1,
    "queue_limit": 1,
    "bulk": 1,
    "timeout": 120,
    "retry": 600,
    "max_attempts": 3,
    "ack_failures": True,
    "catch_up": False,
    "save_limit": 250,
    "poll": 1,
    "guard_cycle": 1,
    "recycle": 200,
}

# Figures for machines that watch (docs/server.md, "Watching"). Web processes count into files of
# this folder; prometheus_client reads its name from the environment when it is first imported.
METRICS_TOKEN = os.environ.get("METRICS_TOKEN", "")
METRICS_DIR = Path(os.environ.setdefault("PROMETHEUS_MULTIPROC_DIR", str(VAR_DIR / "metrics")))
METRICS_DIR.mkdir(parents=True, exist_ok=True)
# Traces go where OpenTelemetry's own variables say (docs/server.md, "Watching").
IS_TRACED = bool(os.environ.get("OTEL_EXPORTER_OTLP_ENDPOINT"))
if IS_TRACED:
    MIDDLEWARE.insert(0, "restorer.metrics.tracing.TracingMiddleware")

# LOG_FORMAT=json writes one object a line. Either way no line holds the secret part of an address.
LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {
        "text": {"()": "restorer.logs.TextFormatter"},
        "json": {"()": "restorer.logs.JsonFormatter"},
    },
    "handlers": {
        "console": {
            "class": "logging.StreamHandler",
            "formatter": "json" if os.environ.get("LOG_FORMAT") == "json" else "text",
        }
    },
    "root": {"handlers": ["console"], "level": os.environ.get("LOG_LEVEL", "WARNING")},
}
