"""A channel of paper: what it is given is noted, and the outbox around it is real."""

import threading
from collections.abc import Callable
from datetime import timedelta
from typing import Any

from django.db import connection
from django.utils import timezone

from clients.messaging.channels.transport import SendOutcome, SendPermit, SendResult
from clients.messaging.models import Message
from tests.outbox import queued


class PaperLine:
    """A channel that notes what it is given; `before` runs before the final check is asked for,
    `meanwhile` between asking and the answer, `during` while handing over."""

    lease_seconds = 600.0
    is_open = False

    def __init__(self) -> None:
        self.handed_over: list[str] = []
        self.before: Callable[[Message], Any] = lambda message: None
        self.meanwhile: Callable[[Message], Any] = lambda message: None
        self.during: Callable[[Message], Any] = lambda message: None
        self.outcome = SendOutcome(SendResult.ACCEPTED, "250 noted")

    def connect(self) -> None:
        self.is_open = True

    def send(self, message: Message, permit: SendPermit) -> SendOutcome:
        self.before(message)
        permit.request()
        self.meanwhile(message)
        if not permit.is_granted():
            return SendOutcome(SendResult.WITHHELD)
        self.handed_over.append(message.address)
        self.during(message)
        return self.outcome

    def close(self) -> None:
        self.is_open = False


def history(message: Message) -> list[str]:
    return [event.state for event in message.events.order_by("id")]


def elsewhere(action: Callable[[], Any]) -> None:
    """In a thread with a database connection of its own, as another process would do it."""

    def act() -> None:
        try:
            action()
        finally:
            connection.close()

    thread = threading.Thread(target=act)
    thread.start()
    thread.join(timeout=10)
    assert not thread.is_alive()


def leave(state: str, *, ago: timedelta = timedelta(seconds=1)) -> Message:
    """A row as a sender leaves it that was killed."""
    message = queued(1)
    Message.objects.update(state=state, lease_token="7" * 32, lease_until=timezone.now() - ago)
    return message
