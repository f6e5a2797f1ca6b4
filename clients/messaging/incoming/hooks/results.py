"""What was made of an event, and what the doors have in common."""

from dataclasses import dataclass
from datetime import timedelta

from clients.messaging.models import Message
from clients.models import Client

EVENT_ALREADY_KNOWN = "Known already: nothing was done."
FINISH_EVENTS_AFTER = timedelta(
    minutes=2
)  # what was kept and not processed by then is taken up again


class UnknownHookError(Exception):
    """There is no hook at this address."""


class ForgedError(Exception):
    """The signature is missing or wrong."""


class BadReportError(Exception):
    """The body cannot be read, or is too long."""


@dataclass(frozen=True)
class EventResult:
    """In words, and whom it was about."""

    words: str
    message: Message | None = None
    client: Client | None = None
