"""Handing the outbox over: claim, last look, transmit, record. Safe to run on any number of hosts at once.

No message is ever sent twice by this machine: what may have been handed over and was not answered becomes
*unconfirmed*, and only a person moves it on.
"""

import logging
import time
from collections.abc import Callable
from dataclasses import asdict, dataclass, field
from datetime import timedelta

from django.db import Error, connection
from django.utils import timezone

from clients.channels import LINES
from clients.channels.contract import Line, LineDownError, Outcome, Result
from clients.models import Business, Message
from clients.outbox import evidence, hours, outcomes, steps, trouble
from clients.outbox.ahead import Ahead
from clients.outbox.permission import why_not
from clients.outbox.sweeping import sweep
from clients.suppression import address_hash, normalize

BATCH = 200
BATCH_SECONDS = steps.CLAIM_LEASE.total_seconds() / 2  # a slow server: give the rest back before the leases end
RESCUE_WAITS = (0.2, 0.5, 1, 2, 4, 8, 8, 8)
logger = logging.getLogger(__name__)


@dataclass
class Tally:
    """What one pass did, by outcome."""

    accepted: int = 0
    put_off: int = 0
    failed: int = 0
    unconfirmed: int = 0
    cancelled: int = 0
    line_down: list[str] = field(default_factory=list)

    @property
    def total(self) -> int:
        return self.accepted + self.put_off + self.failed + self.unconfirmed + self.cancelled

    def count(self, word: str) -> None:
        if word:
            setattr(self, word, getattr(self, word) + 1)

    def row(self) -> dict[str, object]:
        return asdict(self)


def deliver(
    *, limit: int | None = None, deadline_seconds: float = 45, stop: Callable[[], bool] = lambda: False,
    clock: Callable[[], float] = time.monotonic,
) -> Tally:  # fmt: skip
    """One pass: sweep, then send what is due until nothing is left, the deadline, the limit or `stop`."""
    tally = Tally()
    sweep()
    business = Business.current()
    if business is None:
        return tally
    until = clock() + deadline_seconds
    for channel, open_line in LINES.items():
        sender = Sender(business, channel, open_line(business), tally)
        sender.run(lambda: stop() or clock() >= until, limit)
    evidence.ask_around(now=timezone.now(), is_over=lambda: stop() or clock() >= until)
    return tally


class Sender:
    """One pass over one channel."""

    def __init__(self, business: Business, channel: str, line: Line, tally: Tally) -> None:
        self.business = business
        self.channel = channel
        self.line = line
        self.tally = tally
        self.ahead = Ahead(steps.AHEAD)
        self.is_up = False
        self.known: dict[Message, Outcome] = {}  # how tries ended, as far as the database has not confirmed it
        self.next: Message | None = None
        self.looked_at: Message | None = None  # its step to transmitting is under way, nothing is handed over

    def run(self, is_over: Callable[[], bool], limit: int | None) -> None:
        try:
            while not is_over() and (size := self.room(limit)) > 0 and self.is_line_up():
                batch = steps.claim(self.channel, size)
                if not batch:
                    break
                self.send_all(self.let_ring(self.let_pass(batch)), is_over)
        except Error:
            self.rescue()
            raise
        finally:
            self.line.close()

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
            trouble.note(self.channel, str(error))
            self.tally.line_down.append(str(error))
            return False
        trouble.clear(self.channel)
        self.is_up = True
        return True

    def let_pass(self, batch: list[Message]) -> list[Message]:
        """Cancel what may not go any more; the rest goes on."""
        reasons = why_not(self.business, batch)
        for message in batch:
            if message.pk in reasons:
                self.tally.count(outcomes.move(message, "cancelled", "cancelled", reasons[message.pk]))
        return [message for message in batch if message.pk not in reasons]

    def let_ring(self, batch: list[Message]) -> list[Message]:
        """Put off what would ring in quiet hours at the client's place."""
        quiet = hours.later(self.business, batch, now=timezone.now())
        for message in batch:
            if message.pk in quiet:
                outcomes.wait_for(message, quiet[message.pk])
        return [message for message in batch if message.pk not in quiet]

    def send_all(self, batch: list[Message], is_over: Callable[[], bool]) -> None:
        """One after the other; what is not reached goes back to the queue at once."""
        left = list(batch)
        until = time.monotonic() + BATCH_SECONDS
        try:
            while left and time.monotonic() < until and not is_over():
                if not self.line.is_open:
                    self.settle()  # connecting may take long
                    self.line.connect()
                message = left.pop(0)
                self.next = left[0] if left else None
                self.send_one(message)
        except LineDownError as error:
            self.is_up = False
            logger.info("The line broke down: %s", error)
        self.settle()
        outcomes.give_back(left)

    def send_one(self, message: Message) -> None:
        look = LastLook(self, message)
        try:
            outcome = self.line.send(message, look)
        except Error:
            raise
        except Exception as error:  # a fault of ours must stop neither the others nor hide: it goes before a person
            logger.exception("Message %s could not be sent", message.pk)
            outcome = Outcome(Result.UNKNOWN if look.said_go else Result.REFUSED, f"{type(error).__name__}: {error}")
        if outcome.result is Result.ACCEPTED:
            self.tally.count("accepted")
            self.known[message] = outcome
            self.ahead.add("accept", [message.pk, message.lease_token, outcome.reply, outcome.provider_id])
        else:
            self.settle()
            self.known[message] = outcome
            self.tally.count(outcomes.write(self.business, message, outcome))
            del self.known[message]

    def settle(self) -> bool:
        """Have written down what is still to be, and read the answers; True if the newest step was taken."""
        answers = self.ahead.answers()
        earlier = next(iter(self.known), None)
        if earlier is not None and not answers[0]:
            steps.accept_late(earlier)
        self.known.clear()
        self.looked_at = None
        return bool(answers) and answers[-1]

    def rescue(self) -> None:
        """The database went away; what only this process knows is written down as soon as it is back."""
        for wait in RESCUE_WAITS if self.known or self.looked_at else ():
            time.sleep(wait)
            connection.close()
            try:
                self.write_known()
            except Error:
                continue
            return

    def write_known(self) -> None:
        for message, outcome in self.known.items():
            outcomes.write(self.business, message, outcome)
        if self.looked_at:
            outcomes.give_back([self.looked_at])


class LastLook:
    """Keeps `contract.Look`: the step to transmitting and all that speaks against it, in one statement."""

    def __init__(self, sender: Sender, message: Message) -> None:
        self.sender = sender
        self.message = message
        self.was_started = False
        self.said_go = False

    def start(self) -> None:
        if self.was_started:
            return
        self.was_started = True
        business, message = self.sender.business, self.message
        lease = timedelta(seconds=self.sender.line.lease_seconds)
        spelling = normalize(message.channel, message.address)
        hashed = address_hash(business, message.channel, message.address)
        self.sender.looked_at = message
        self.sender.ahead.add("transmit", [message.pk, message.lease_token, lease, hashed, spelling])
        self.sender.ahead.flush()

    def go(self) -> bool:
        self.start()
        self.said_go = self.sender.settle()
        return self.said_go

    def upcoming(self) -> Message | None:
        return self.sender.next
