"""What the outbox and a channel owe each other."""

from dataclasses import dataclass
from enum import Enum
from typing import Protocol

from clients.messaging.models import Message


class SendResult(Enum):
    """How a try to hand a message over ended."""

    ACCEPTED = "the other side said that it has it"
    NOT_NOW = "the other side refused it for now"
    REFUSED = "the other side refused it for good"
    UNKNOWN = "handed over, and the answer was lost"
    WITHHELD = "the outbox said no at the last moment; nothing was handed over"


@dataclass(frozen=True)
class SendOutcome:
    """A result and the other side's own words."""

    result: SendResult
    reply: str = ""
    provider_id: str = ""
    has_opted_out: bool = (
        False  # refused because the other side knows that this address wants to hear no more
    )


class TransportDownError(Exception):
    """The other side cannot be reached, or does not let us in: no message was touched."""


class SendPermit(Protocol):
    """The outbox's final check of a message. `request` asks the database; `is_granted` waits for
    the answer, and asks first if nobody did."""

    def request(self) -> None: ...

    def is_granted(self) -> bool: ...


class Transport(Protocol):
    """A connection to whoever takes messages of one channel, one recipient a message.

    `connect` comes first, and again whenever `is_open` has become False; it raises
    `TransportDownError`. `send` calls `permit.is_granted()` once, right before the point of no
    return, and hands nothing over unless that says True. It may call `permit.request()` earlier,
    once the receiver has something to do, so that both work at once. `send` raises nothing for what
    the receiver does.
    `lease_seconds` is longer than all its time-outs together.
    """

    lease_seconds: float

    @property
    def is_open(self) -> bool: ...

    def connect(self) -> None: ...

    def send(self, message: Message, permit: SendPermit) -> SendOutcome: ...

    def close(self) -> None: ...
