"""What the outbox and a channel owe each other."""

from collections.abc import Callable
from dataclasses import dataclass
from enum import Enum
from typing import Protocol

from clients.models import Message


class Result(Enum):
    """How a try to hand a message over ended."""

    ACCEPTED = "the far side said that it has it"
    NOT_NOW = "the far side refused it for now"
    REFUSED = "the far side refused it for good"
    UNKNOWN = "handed over, and the answer was lost"
    WITHHELD = "the outbox said no at the last moment; nothing was handed over"


@dataclass(frozen=True)
class Outcome:
    """A result and the far side's own words."""

    result: Result
    reply: str = ""
    provider_id: str = ""


class LineDown(Exception):
    """The far side cannot be reached, or does not let us in: no message was touched."""


class Line(Protocol):
    """A connection to whoever takes messages of one channel, one recipient a message.

    `connect` is called before each message and raises `LineDown`. `send` must call `go` exactly before the point of no
    return, and hand nothing over unless `go` returns True; up to there it may talk to the far side, so that the
    database works meanwhile. `send` raises nothing for what the far side does. `lease_seconds` is longer than all its
    time-outs together.
    """

    lease_seconds: float

    def connect(self) -> None: ...

    def send(self, message: Message, *, go: Callable[[], bool]) -> Outcome: ...

    def close(self) -> None: ...
