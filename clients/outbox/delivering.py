"""Handing the outbox over: claim, last look, transmit, record. Safe to run on any number of hosts at once.

No message is ever sent twice by this machine: what may have been handed over and was not answered becomes
*unconfirmed*, and only a person moves it on.
"""

import logging
import time
from collections.abc import Callable, Iterable
from dataclasses import asdict, dataclass, field
from datetime import timedelta

from django.db import Error
from django.db.models.functions import Now

from clients.channels import LINES
from clients.channels.contract import Line, LineDownError, Outcome, Result
from clients.models import Business, Message
from clients.models.message import State
from clients.outbox import steps, trouble
from clients.outbox.ahead import Ahead
from clients.outbox.permission import why_not
from clients.outbox.sweeping import sweep
from clients.suppression import address_hash, normalize

BATCH = 50
FIRST_PAUSE = timedelta(minutes=1)
LONGEST_PAUSE = timedelta(hours=4)
MOST_ATTEMPTS = 12  # spread over more than a day
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
        self.accepted: Message | None = None  # written down together with the next one's step to transmitting

    def run(self, is_over: Callable[[], bool], limit: int | None) -> None:
        try:
            while not is_over() and (size := self.room(limit)) > 0 and self.is_line_up():
                batch = steps.claim(self.channel, size)
                if not batch or not self.send_all(self.let_pass(batch), is_over):
                    break
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
                self.cancel(message, reasons[message.pk])
        return [message for message in batch if message.pk not in reasons]

    def send_all(self, batch: list[Message], is_over: Callable[[], bool]) -> bool:
        """One after the other; what is not reached goes back to the queue at once. False: do not go on."""
        left = list(batch)
        try:
            while left and not is_over():
                if not self.line.is_open:
                    self.settle()
                    self.line.connect()
                self.send_one(left.pop(0))
        except LineDownError as error:
            self.tally.line_down.append(str(error))
        self.settle()
        self.give_back(left)
        return not left

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
            self.accepted = message
            self.ahead.add("accept", [message.pk, message.lease_token, outcome.reply, outcome.provider_id])
            self.tally.accepted += 1
        else:
            self.settle()
            self.record(message, outcome)

    def settle(self) -> bool:
        """Have written down what is still to be, and read the answers; True if the newest step was taken."""
        earlier, self.accepted = self.accepted, None
        answers = self.ahead.answers()
        if earlier is not None and not answers[0]:
            steps.accept_late(earlier)
        return bool(answers) and answers[-1]

    def record(self, message: Message, outcome: Outcome) -> None:
        {
            Result.NOT_NOW: self.put_off,
            Result.REFUSED: self.fail,
            Result.UNKNOWN: self.leave_open,
            Result.WITHHELD: self.withhold,
        }[outcome.result](message, outcome.reply)

    def put_off(self, message: Message, reply: str) -> None:
        """Refused for now: again later, ever more rarely, and not for ever."""
        attempts = message.attempts + 1
        if attempts >= MOST_ATTEMPTS:
            return self.fail(message, f"Given up after {attempts} tries. {reply}")
        pause = min(FIRST_PAUSE * 4 ** (attempts - 1), LONGEST_PAUSE)
        self.tally.put_off += steps.move(
            steps.leased(message), State.QUEUED, note=reply, reply=reply[:500], not_before=Now() + pause
        )
        return None

    def fail(self, message: Message, reply: str) -> None:
        self.tally.failed += steps.move(steps.leased(message), State.FAILED, note=reply, reply=reply[:500])

    def leave_open(self, message: Message, reply: str) -> None:
        self.tally.unconfirmed += steps.move(steps.leased(message), State.UNCONFIRMED, note=reply, reply=reply[:500])

    def withhold(self, message: Message, reply: str) -> None:
        """The last look said no: withdrawn, expired, held, or the lease is no longer ours."""
        reasons = why_not(self.business, [message])
        if message.pk in reasons:
            self.cancel(message, reasons[message.pk])
        else:
            self.give_back([message])

    def cancel(self, message: Message, why: str) -> None:
        self.tally.cancelled += steps.move(steps.leased(message), State.CANCELLED, note=why, reply=why)

    def give_back(self, batch: Iterable[Message]) -> None:
        """Nothing was handed over: any sender may take them."""
        for message in batch:
            steps.move(steps.leased(message), State.QUEUED)


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
        self.sender.ahead.add("transmit", [message.pk, message.lease_token, lease, hashed, spelling])
        self.sender.ahead.flush()

    def go(self) -> bool:
        self.start()
        self.said_go = self.sender.settle()
        return self.said_go
