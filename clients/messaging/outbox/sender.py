"""One sender: it takes messages of one channel under a lease and hands them over one after the other.

No message is ever sent twice by this machine: what may have been handed over and was not answered becomes
*unconfirmed*, and only a person moves it on.
"""

import contextlib
import logging
import time
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, field

from django.db import Error
from django.utils import timezone

from clients.messaging.channels.contract import Line, LineDownError, Outcome, Result
from clients.messaging.models import Message
from clients.messaging.outbox import channel_health, outcomes, quiet_hours, transitions
from clients.messaging.outbox.ledger import FRESH_SECONDS, Record
from clients.messaging.outbox.permission import why_not
from clients.models import Business

BATCH = 200
BATCH_SECONDS = transitions.CLAIM_LEASE.total_seconds() / 2  # a slow server: give the rest back before the leases end
LOOKS = 20  # at most so many messages are looked at together
WORDS = ["accepted", "put_off", "failed", "unconfirmed", "cancelled"]
logger = logging.getLogger(__name__)


@dataclass
class Tally:
    """What a pass did, by outcome."""

    accepted: int = 0
    put_off: int = 0
    failed: int = 0
    unconfirmed: int = 0
    cancelled: int = 0
    line_down: list[str] = field(default_factory=list)

    @property
    def total(self) -> int:
        return sum(getattr(self, word) for word in WORDS)

    def count(self, word: str) -> None:
        if word:
            setattr(self, word, getattr(self, word) + 1)

    def add(self, other: "Tally") -> None:
        for word in WORDS:
            setattr(self, word, getattr(self, word) + getattr(other, word))
        self.line_down += other.line_down

    def row(self) -> dict[str, object]:
        return asdict(self)


class Sender:
    """One pass over one channel by one connection. One that is `extra` is not missed when it gets no connection."""

    def __init__(self, business: Business, channel: str, line: Line, *, is_extra: bool = False) -> None:
        self.business = business
        self.channel = channel
        self.line = line
        self.is_extra = is_extra
        self.tally = Tally()
        self.record = Record(business, line.lease_seconds)
        self.is_up = False
        self.pace = 0.0  # seconds that the last message took

    def run(self, is_over: Callable[[], bool], limit: int | None) -> Tally:
        try:
            while not is_over() and (size := self.room(limit)) > 0 and self.is_line_up():
                batch = transitions.claim(self.channel, size)
                if not batch:
                    break
                self.send_all(self.let_ring(self.let_pass(batch)), is_over)
        except Error:
            self.record.rescue()
            raise
        finally:
            self.line.close()
        return self.tally

    def room(self, limit: int | None) -> int:
        return BATCH if limit is None else min(BATCH, limit - self.tally.total)

    def is_line_up(self) -> bool:
        """Nothing is claimed while nobody takes messages: the queue stays as it is, and says why once."""
        if self.is_up:
            return True
        if not Message.objects.due(self.channel).exists():
            return False
        try:
            self.line.connect()
        except LineDownError as error:
            self.say_down(str(error))
            return False
        if not self.is_extra:
            channel_health.clear(self.channel)
        self.is_up = True
        return True

    def say_down(self, why: str) -> None:
        if self.is_extra:
            logger.info("No further connection: %s", why)
            return
        channel_health.note(self.channel, why)
        self.tally.line_down.append(why)

    def let_pass(self, batch: list[Message]) -> list[Message]:
        """Cancel what may not go any more; the rest goes on."""
        reasons = why_not(self.business, batch)
        for message in batch:
            if message.pk in reasons:
                self.tally.count(outcomes.move(message, "cancelled", "cancelled", reasons[message.pk]))
        return [message for message in batch if message.pk not in reasons]

    def let_ring(self, batch: list[Message]) -> list[Message]:
        """Put off what would ring in quiet hours at the client's place."""
        quiet = quiet_hours.later(self.business, batch, now=timezone.now())
        for message in batch:
            if message.pk in quiet:
                outcomes.wait_for(message, quiet[message.pk])
        return [message for message in batch if message.pk not in quiet]

    def send_all(self, batch: list[Message], is_over: Callable[[], bool]) -> None:
        """One after the other; what is not reached goes back to the queue at once."""
        left = list(batch)
        self.record = Record(self.business, self.line.lease_seconds)
        until = time.monotonic() + BATCH_SECONDS
        try:
            while left and time.monotonic() < until and not is_over():
                if not self.line.is_open:
                    self.record.settle()  # connecting may take long
                    self.line.connect()
                message = left.pop(0)
                self.send_one(message, LastLook(self.record, message, left, self.soon()))
        except LineDownError as error:
            self.is_up = False
            logger.info("The line broke down: %s", error)
        self.record.settle()
        outcomes.give_back(left)

    def soon(self) -> int:
        """How many messages will go while a look at them is fresh, by the pace of the last one."""
        return min(LOOKS, int(FRESH_SECONDS / 2 / self.pace)) if self.pace else 0

    def send_one(self, message: Message, look: "LastLook") -> None:
        began = time.monotonic()
        try:
            outcome = self.line.send(message, look)
        except Error:
            raise
        except Exception as error:  # a fault of ours must stop neither the others nor hide: it goes before a person
            logger.exception("Message %s could not be sent", message.pk)
            outcome = Outcome(Result.UNKNOWN if look.said_go else Result.REFUSED, f"{type(error).__name__}: {error}")
        self.pace = time.monotonic() - began
        if outcome.result is Result.ACCEPTED:
            self.tally.count("accepted")
            self.record.accepted(message, outcome)
        else:
            self.tally.count(self.record.write(message, outcome))


class LastLook:
    """Keeps `contract.Look` for a message and the `following` ones, of which so many will go `soon`."""

    def __init__(self, record: Record, message: Message, following: Sequence[Message], soon: int) -> None:
        self.record = record
        self.message = message
        self.following = following
        self.soon = soon
        self.said_go = False

    def start(self) -> None:
        self.record.tell()
        if self.message.pk not in self.record.looked_at:
            self.record.look_at([self.message])

    def go(self) -> bool:
        self.said_go = self.record.may_go(self.message)
        return self.said_go

    def upcoming(self) -> Message | None:
        """The database looks at the next ones meanwhile; if it is gone, that comes up once something hangs on it."""
        if not self.following:
            return None
        upcoming = self.following[0]
        if self.soon and upcoming.pk not in self.record.looked_at:
            with contextlib.suppress(Error):
                self.record.look_at(self.following[: self.soon])
        return upcoming
