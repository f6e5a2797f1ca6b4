"""The door for a mail service's reports: django-anymail's own view proves and reads them, for each service in its way.

What nothing proves is refused; django-anymail itself would only warn.
"""

import warnings
from collections.abc import Callable
from importlib.util import find_spec
from typing import Any

from django.conf import settings
from django.core.exceptions import ImproperlyConfigured, SuspiciousOperation
from django.http import HttpRequest

from clients.messaging.incoming.hooks.intake import refused
from clients.messaging.incoming.hooks.made import (
    BadReportError,
    ForgedError,
    UnknownHookError,
)

BACKENDS = "anymail.backends."
PATTERN = "{}_tracking_webhook"  # how anymail.urls names the view of a service
SOURCE = "mail service's report"
UNPROVED = "Nothing proves who posts here: set ANYMAIL_WEBHOOK_SECRET, or the key with which the service signs."

NONSENSE = (ValueError, LookupError, TypeError, AttributeError, RecursionError)  # of reading what a stranger wrote


class Readable:
    """Before django-anymail's view: a body that it cannot read is refused, and no fault of ours."""

    def run_validators(self, request: HttpRequest) -> None:
        try:
            super().run_validators(request)  # type: ignore[misc] # of the view beside it
        except (*NONSENSE, SuspiciousOperation) as error:
            raise ForgedError("The signature or password is missing or wrong.") from error

    def parse_events(self, request: HttpRequest) -> Any:
        try:
            return super().parse_events(request)  # type: ignore[misc]
        except (*NONSENSE, ImproperlyConfigured) as error:  # the latter: reports of another kind than these
            raise BadReportError("The report cannot be read.") from error


def is_configured() -> bool:
    """Whether mail goes out by a service that django-anymail knows."""
    return settings.OUTBOX_BACKEND.startswith(BACKENDS) and find_spec("anymail") is not None


def name() -> str:
    """Of the service, as it stands in the address of its hook."""
    return settings.OUTBOX_BACKEND.removeprefix(BACKENDS).partition(".")[0]


def is_proved() -> bool:
    """Whether the reports of the service in use can be told from forged ones, so that they are taken."""
    try:
        return is_configured() and bool(hook_of(name()))
    except (UnknownHookError, ForgedError):
        return False


def connect(take: Callable[..., None]) -> None:
    """Django-anymail hands events on by a signal and by nothing else. Called once, by the app."""
    from anymail.signals import tracking

    tracking.connect(take, dispatch_uid="clients.messaging.incoming.hooks.mail_service")


def receive(*, service: str, request: HttpRequest) -> None:
    """Hand a post to the view of the service. Raises one of the three errors, each logged; then nothing is kept."""
    try:
        hook = hook_of(service)
        hook.setup(request)
        hook.dispatch(request)
    except (UnknownHookError, ForgedError, BadReportError) as error:
        raise refused(error, SOURCE) from error


def hook_of(service: str) -> Any:
    """Django-anymail's view for the service, which checks a password, a signature or both."""
    view = view_of(service) if is_configured() else None
    if view is None:
        raise UnknownHookError("There is no hook at this address.")
    try:
        with warnings.catch_warnings(action="ignore"):
            hook = type("Hook", (Readable, view), {})()
    except ImproperlyConfigured as error:
        raise ForgedError(UNPROVED) from error
    if hook.warn_if_no_basic_auth and not hook.basic_auth:
        raise ForgedError(UNPROVED)
    return hook


def view_of(service: str) -> Any:
    from anymail import urls

    found = (each.callback for each in urls.urlpatterns if each.name == PATTERN.format(service))
    return getattr(next(found, None), "view_class", None)
