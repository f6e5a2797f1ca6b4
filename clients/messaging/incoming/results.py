"""What an intake answers: what was made of an event, or why a post is refused."""

import logging
from dataclasses import dataclass
from datetime import timedelta

from clients.messaging.models import Message
from clients.models import Client

FINISH_EVENTS_AFTER = timedelta(minutes=2)  # by then whoever received it is done or dead
logger = logging.getLogger(__name__)


class UnknownHookError(Exception):
    """There is no hook at this address."""


class ForgedError(Exception):
    """The signature is missing or wrong."""


class BadReportError(Exception):
    """The body cannot be read, or is too long."""


def log_refused_post(error: Exception, source: str) -> Exception:
    logger.warning("Refused a %s: %s", source, error)
    return error


@dataclass(frozen=True)
class EventResult:
    """In words, and whom it was about."""

    words: str
    message: Message | None = None
    client: Client | None = None
    is_final: bool = True  # False: it is looked at again
    keeps_raw: bool = True
