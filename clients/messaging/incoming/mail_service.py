"""The way in for a mail service's reports:
django-anymail's own view proves and reads them, for each service in its way.

What nothing proves is refused; django-anymail itself would only warn.
"""

import warnings
from collections.abc import Callable
from importlib.util import find_spec
from typing import Any

from django.conf import settings
from django.core.exceptions import ImproperlyConfigured, SuspiciousOperation
from django.http import HttpRequest

from clients.messaging.incoming.results import (
    BadReportError,
    ForgedError,
    UnknownHookError,
    log_refused_post,
)

ANYMAIL_BACKENDS = "anymail.backends."
TRACKING_VIEW_NAME = "{}_tracking_webhook"  # how anymail.urls names the view of a service
SERVICE_REPORT_SOURCE = "mail service's report"
UNVERIFIED_POSTS = (
    "Nothing proves who posts here: set ANYMAIL_WEBHOOK_SECRET, or the key with which the service"
    " signs."
)

PARSE_ERRORS = (
    ValueError,
    LookupError,
    TypeError,
    AttributeError,
    RecursionError,
)  # of reading what a stranger wrote


class ReadErrorsMixin:
    """Before django-anymail's view: a body that it cannot read is refused, and no fault of ours."""

    def run_validators(self, request: HttpRequest) -> None:
        try:
            super().run_validators(request)  # type: ignore[misc] # of the view beside it
        except (*PARSE_ERRORS, SuspiciousOperation) as error:
            raise ForgedError("The signature or password is missing or wrong.") from error

    def parse_events(self, request: HttpRequest) -> Any:
        try:
            return super().parse_events(request)  # type: ignore[misc]
        except (
            *PARSE_ERRORS,
            ImproperlyConfigured,
        ) as error:  # the latter: reports of another kind than these
            raise BadReportError("The report cannot be read.") from error


def uses_mail_service() -> bool:
    """Whether mail goes out by a service that django-anymail knows."""
    return settings.OUTBOX_BACKEND.startswith(ANYMAIL_BACKENDS) and find_spec("anymail") is not None


def service_name() -> str:
    """Of the service, as it stands in the address of its hook."""
    return settings.OUTBOX_BACKEND.removeprefix(ANYMAIL_BACKENDS).partition(".")[0]


def can_verify_reports() -> bool:
    """Whether the reports of the service in use can be told from forged ones, so that they are
    taken."""
    try:
        return uses_mail_service() and bool(service_hook(service_name()))
    except (UnknownHookError, ForgedError):
        return False


def connect_tracking_signal(take: Callable[..., None]) -> None:
    """Django-anymail hands events on by a signal and by nothing else. Called once, by the app."""
    from anymail.signals import tracking

    tracking.connect(take, dispatch_uid="clients.messaging.incoming.mail_service")


def receive_service_post(*, service: str, request: HttpRequest) -> None:
    """Hand a post to the view of the service. Raises one of the three errors, each logged;
    then nothing is kept."""
    try:
        hook = service_hook(service)
        hook.setup(request)
        hook.dispatch(request)
    except (UnknownHookError, ForgedError, BadReportError) as error:
        raise log_refused_post(error, SERVICE_REPORT_SOURCE) from error


def service_hook(service: str) -> Any:
    """Django-anymail's view for the service, which checks a password, a signature or both."""
    view = anymail_view_class(service) if uses_mail_service() else None
    if view is None:
        raise UnknownHookError("There is no hook at this address.")
    try:
        with warnings.catch_warnings(action="ignore"):
            hook = type("Hook", (ReadErrorsMixin, view), {})()
    except ImproperlyConfigured as error:
        raise ForgedError(UNVERIFIED_POSTS) from error
    if hook.warn_if_no_basic_auth and not hook.basic_auth:
        raise ForgedError(UNVERIFIED_POSTS)
    return hook


def anymail_view_class(service: str) -> Any:
    from anymail import urls

    found = (
        each.callback
        for each in urls.urlpatterns
        if each.name == TRACKING_VIEW_NAME.format(service)
    )
    return getattr(next(found, None), "view_class", None)
