"""System checks: a configuration that would hurt later is named at start, with what to change."""

from collections.abc import Sequence
from importlib.util import find_spec
from typing import Any
from urllib.parse import SplitResult, urlsplit

from django.conf import settings
from django.core.checks import CheckMessage, Error, Tags, Warning, register
from django.db import connections
from django.utils import timezone
from django.utils.module_loading import import_string

from restorer import time_zones
from restorer.bucket import BucketAddress, BucketError, open_bucket

MIN_SECRET_LENGTH = 32  # characters; 32 random ones carry more than the 128 bits that signing needs
LOCAL_HOSTS = {"localhost", "127.0.0.1", "::1"}


def base_url_parts() -> SplitResult:
    """BASE_URL in its parts; empty ones if it cannot be taken apart."""
    try:
        return urlsplit(settings.BASE_URL)
    except ValueError:
        return urlsplit("")


@register(Tags.urls)
def check_base_url(app_configs: Any, **kwargs: Any) -> list[CheckMessage]:
    """Links in messages begin with it, so it must be an address that a client can open."""
    parts = base_url_parts()
    if parts.scheme not in {"http", "https"} or not parts.hostname:
        hint = "Set BASE_URL to the address people open, such as https://decks.example.com."
        return [
            Error(
                f"BASE_URL “{settings.BASE_URL}” is not an http or https address.",
                hint=hint,
                id="restorer.E001",
            )
        ]
    found: list[CheckMessage] = []
    if parts.path.strip("/") or parts.query or parts.fragment:
        hint = "Leave out everything after the host name; the program serves the whole site."
        found.append(
            Error(f"BASE_URL “{settings.BASE_URL}” has a path.", hint=hint, id="restorer.E002")
        )
    return found


@register(Tags.security, deploy=True)
def check_https(app_configs: Any, **kwargs: Any) -> list[CheckMessage]:
    """Away from this machine, passwords must not travel in the clear."""
    parts = base_url_parts()
    if (
        parts.scheme != "http" or parts.hostname in LOCAL_HOSTS
    ):  # what is no address is an error of its own
        return []
    hint = "Put the program behind a server with a certificate and set BASE_URL=https://…"
    return [
        Warning("Pages and passwords travel without encryption.", hint=hint, id="restorer.W001")
    ]


@register(Tags.security)
def check_debug(app_configs: Any, **kwargs: Any) -> list[CheckMessage]:
    if not (settings.DEBUG and settings.BASE_URL.startswith("https://")):
        return []
    hint = "Unset DEBUG; it shows settings and data to whoever meets an error."
    return [
        Warning("DEBUG is on while pages are served over https.", hint=hint, id="restorer.W002")
    ]


@register(Tags.security)
def check_secret_key(app_configs: Any, **kwargs: Any) -> list[CheckMessage]:
    if len(settings.SECRET_KEY) >= MIN_SECRET_LENGTH and len(set(settings.SECRET_KEY)) > 5:
        return []
    hint = (
        f"Set SECRET_KEY to at least {MIN_SECRET_LENGTH} random characters, the same on every host;"
        " or unset it."
    )
    return [Warning("SECRET_KEY is short or easy to guess.", hint=hint, id="restorer.W003")]


@register(Tags.security)
def check_metrics_token(app_configs: Any, **kwargs: Any) -> list[CheckMessage]:
    if not settings.METRICS_TOKEN or len(settings.METRICS_TOKEN) >= MIN_SECRET_LENGTH:
        return []
    hint = f"Set METRICS_TOKEN to at least {MIN_SECRET_LENGTH} random characters, or unset it."
    return [Warning("METRICS_TOKEN is easy to guess.", hint=hint, id="restorer.W013")]


@register(Tags.database, deploy=True)
def check_wellbeing(
    app_configs: Any, databases: Sequence[str] | None = None, **kwargs: Any
) -> list[CheckMessage]:
    """What the owner's page says, for whoever sets the server up."""
    from restorer.metrics import find_troubles, read_wellbeing
    from restorer.models import BackupRun

    if "default" not in (databases or []):
        return []
    if BackupRun._meta.db_table not in connections["default"].introspection.table_names():
        return []  # before the first migration
    troubles = find_troubles(read_wellbeing(now=timezone.now()))
    return [Warning(each.words, hint=each.advice, id="restorer.W014") for each in troubles]


@register("files")
def check_buckets(app_configs: Any, **kwargs: Any) -> list[CheckMessage]:
    """Settings of a store in the place of folders that cannot work."""
    used = [each for each in (settings.MEDIA_BUCKET, settings.BACKUP_BUCKET) if each]
    if not used:
        return []
    found: list[CheckMessage] = [
        Error(mistake, id="restorer.E006") for mistake in map(mistake_of_bucket, used) if mistake
    ]
    found += check_store_settings()
    if not find_spec("boto3") or not find_spec("storages"):
        words = "The libraries for a store of files are not installed."
        hint = "Install this program with its extra `bucket` (docs/server.md)."
        found.append(Error(words, hint=hint, id="restorer.E008"))
    return found


def mistake_of_bucket(address: str) -> str:
    try:
        BucketAddress.parse(address)
    except BucketError as mistake:
        return str(mistake)
    return ""


def check_store_settings() -> list[CheckMessage]:
    """How the store is reached."""
    missing = [name for name in ("S3_KEY", "S3_SECRET") if not getattr(settings, name)]
    if not has_scheme(settings.S3_ENDPOINT, {"http", "https"}):
        missing.append("S3_ENDPOINT")
    if missing:
        hint = "S3_ENDPOINT is the address of the store, such as https://store.example.com."
        words = f"The store of files cannot be reached without {', '.join(missing)}."
        return [Error(words, hint=hint, id="restorer.E007")]
    if has_scheme(settings.S3_ENDPOINT, {"http"}) and not is_local(settings.S3_ENDPOINT):
        words = "Photographs or backups travel to the store without encryption."
        return [Warning(words, hint="Set S3_ENDPOINT=https://…", id="restorer.W015")]
    return []


def has_scheme(address: str, schemes: set[str]) -> bool:
    try:
        parts = urlsplit(address)
    except ValueError:
        return False
    return parts.scheme in schemes and bool(parts.hostname)


def is_local(address: str) -> bool:
    return urlsplit(address).hostname in LOCAL_HOSTS


@register("files", deploy=True)
def check_buckets_answer(app_configs: Any, **kwargs: Any) -> list[CheckMessage]:
    """Each bucket is asked for what is in it, with the key that will be used."""
    if check_buckets(None):
        return []
    found: list[CheckMessage] = []
    for address in filter(None, (settings.MEDIA_BUCKET, settings.BACKUP_BUCKET)):
        try:
            open_bucket(BucketAddress.parse(address)).names()
        except BucketError as mistake:
            hint = "Look at S3_ENDPOINT, S3_KEY, S3_SECRET, S3_REGION and the name of the bucket."
            found.append(Warning(str(mistake), hint=hint, id="restorer.W016"))
    return found


@register("time_zones")
def check_time_zone_database(app_configs: Any, **kwargs: Any) -> list[CheckMessage]:
    """By an old one a booking or a quiet hour may be an hour off, and nothing else would tell."""
    if not time_zones.are_zones_old(timezone.now().date()):
        return []
    what = f"The time zones are those of {time_zones.ZONES_VERSION}, more than a year old."
    hint = "Install a newer release of this program, or of the package tzdata in its environment."
    return [Warning(what, hint=hint, id="restorer.W012")]


@register("mail")
def check_mail_backend(app_configs: Any, **kwargs: Any) -> list[CheckMessage]:
    """Found out at start and not by a queue that stands still."""
    try:
        import_string(settings.OUTBOX_BACKEND)
    except ImportError as error:
        hint = (
            "Install its package (docs/server.md, EMAIL_BACKEND), or unset EMAIL_BACKEND to"
            " send by SMTP."
        )
        return [Error(f"EMAIL_BACKEND cannot be loaded: {error}", hint=hint, id="restorer.E005")]
    return []


@register("mail")
def check_mail_reports(app_configs: Any, **kwargs: Any) -> list[CheckMessage]:
    """A mail service whose reports are refused: bounces and complaints would go unnoticed."""
    from clients.messaging.incoming import mail_service

    if not mail_service.uses_mail_service() or mail_service.can_verify_reports():
        return []
    hint = (
        "Set ANYMAIL_WEBHOOK_SECRET to NAME:PASSWORD, or the service's key for signing"
        " (docs/server.md)."
    )
    return [
        Warning(
            "Reports of the mail service are refused, as nothing proves them.",
            hint=hint,
            id="restorer.W011",
        )
    ]


@register("mail")
def check_mail_server(app_configs: Any, **kwargs: Any) -> list[CheckMessage]:
    """Settings of the mail server that contradict each other."""
    rules: Sequence[tuple[bool, CheckMessage]] = [
        (
            settings.EMAIL_USE_TLS and settings.EMAIL_USE_SSL,
            Error(
                "EMAIL_USE_TLS and EMAIL_USE_SSL are both on.",
                id="restorer.E003",
                hint=(
                    "Port 587 wants EMAIL_USE_TLS (STARTTLS), port 465 wants EMAIL_USE_SSL. Set"
                    " one."
                ),
            ),
        ),
        (
            settings.EMAIL_PORT == 465 and not settings.EMAIL_USE_SSL,
            Warning(
                "EMAIL_PORT is 465 without EMAIL_USE_SSL.",
                id="restorer.W004",
                hint="Port 465 speaks TLS from the first byte (RFC 8314): set EMAIL_USE_SSL=1.",
            ),
        ),
        (
            bool(settings.EMAIL_HOST_USER) != bool(settings.EMAIL_HOST_PASSWORD),
            Warning(
                "EMAIL_HOST_USER and EMAIL_HOST_PASSWORD belong together.",
                id="restorer.W005",
                hint="Set both, or neither if the mail server trusts this host.",
            ),
        ),
        (
            bool(settings.EMAIL_HOST_PASSWORD)
            and not is_mail_encrypted()
            and settings.EMAIL_HOST not in LOCAL_HOSTS,
            Warning(
                "The mail password travels without encryption.",
                id="restorer.W006",
                hint="Set EMAIL_USE_TLS=1.",
            ),
        ),
        (
            not 0 < settings.EMAIL_TIMEOUT <= 120,
            Warning(
                f"EMAIL_TIMEOUT is {settings.EMAIL_TIMEOUT} seconds.",
                id="restorer.W007",
                hint=(
                    "Set it from 1 to 120 seconds, so that a silent mail server cannot hold a"
                    " sender up for good."
                ),
            ),
        ),
    ]
    return [message for is_wrong, message in rules if is_wrong]


def is_mail_encrypted() -> bool:
    return bool(settings.EMAIL_USE_TLS or settings.EMAIL_USE_SSL)


@register("mail")
def check_bounce_mailbox(app_configs: Any, **kwargs: Any) -> list[CheckMessage]:
    """Settings of the mailbox for bounces that contradict each other."""
    names = [
        name
        for name in ("BOUNCES_USER", "BOUNCES_PASSWORD", "BOUNCES_MAILBOX")
        if not getattr(settings, name)
    ]
    is_local = settings.BOUNCES_HOST in LOCAL_HOSTS
    rules: Sequence[tuple[bool, CheckMessage]] = [
        (
            bool(settings.BOUNCES_HOST and names),
            Error(
                f"BOUNCES_HOST is set, but not {', '.join(names)}.",
                id="restorer.E004",
                hint="Name the mailbox that bounces come to and its log-in, or unset BOUNCES_HOST.",
            ),
        ),
        (
            bool(
                (settings.BOUNCES_USER or settings.BOUNCES_PASSWORD) and not settings.BOUNCES_HOST
            ),
            Warning(
                "There is a log-in for the mailbox of bounces, but no BOUNCES_HOST: nothing is"
                " read.",
                id="restorer.W009",
                hint="Set BOUNCES_HOST to the name of the IMAP server.",
            ),
        ),
        (
            bool(settings.BOUNCES_HOST and not settings.BOUNCES_TLS and not is_local),
            Warning(
                "The password of the mailbox for bounces travels without encryption.",
                id="restorer.W010",
                hint="Unset BOUNCES_TLS: port 993 speaks TLS from the first byte (RFC 8314).",
            ),
        ),
    ]
    return [message for is_wrong, message in rules if is_wrong]


@register(Tags.database)
def check_sender_address(
    app_configs: Any, databases: Sequence[str] | None = None, **kwargs: Any
) -> list[CheckMessage]:
    """A business without a sender address can queue reminders, but none would ever leave."""
    from clients.models import Business

    found: list[CheckMessage] = []
    for alias in databases or []:
        if Business._meta.db_table not in connections[alias].introspection.table_names():
            continue  # before the first migration
        business = Business.objects.using(alias).only("email", "sender_email").first()
        if business and not business.sender:
            hint = "The owner enters it under Settings, The business."
            found.append(
                Warning("The business has no address to send from.", hint=hint, id="restorer.W008")
            )
    return found
