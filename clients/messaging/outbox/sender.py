"""Handing the outbox over, channel by channel, one message after the other.

A sender takes messages of one channel under a lease. Any number of them may run at once, on any
number of hosts. No message is ever sent twice by this machine: what may have been handed over and
was not answered becomes *unconfirmed*, and only a person moves it on.
"""

import logging
import time
from collections.abc import Callable
from dataclasses import asdict, dataclass, field

from django.core.cache import cache
from django.db import Error
from django.utils import timezone

from clients.messaging.channels import (
    TRANSPORTS,
    SendOutcome,
    SendResult,
    Transport,
    TransportDownError,
)
from clients.messaging.models import Message, TextGateway
from clients.messaging.outbox import delivery_reports, leases, outcomes, permission
from clients.messaging.outbox.leases import sweep
from clients.messaging.outbox.ledger import Ledger
from clients.messaging.outbox.permission import reasons_not_to_send
from clients.messaging.outbox.transitions import Transition
from clients.models import Business

BATCH_SIZE = 200
BATCH_SECONDS = (
    leases.CLAIM_LEASE.total_seconds() / 2
)  # a slow server: give the rest back before the leases end
DOWN_SECONDS = 600
BOUNCE_MAILBOX = "bounces"  # no channel, but the mailbox of what comes back
TALLY_FIELDS = ["accepted", "put_off", "failed", "unconfirmed", "cancelled"]
logger = logging.getLogger(__name__)


def mark_down(channel: str, why: str) -> None:
    """Why a channel stands still, kept in the cache that all processes share, for the outbox
    page."""
    cache.set(f"line-down/{channel}", why, DOWN_SECONDS)


def mark_up(channel: str) -> None:
    cache.delete(f"line-down/{channel}")


def down_reasons(channels: list[str]) -> dict[str, str]:
    """Channel → reason, of those in trouble."""
    found = cache.get_many([f"line-down/{channel}" for channel in channels])
    return {key.partition("/")[2]: why for key, why in found.items()}


@dataclass
class DeliveryTally:
    """What a pass did, by outcome."""

    accepted: int = 0
    put_off: int = 0
    failed: int = 0
    unconfirmed: int = 0
    cancelled: int = 0
    line_down: list[str] = field(default_factory=list)

    @property
    def total(self) -> int:
        return sum(getattr(self, tally_key) for tally_key in TALLY_FIELDS)

    def count(self, tally_key: str) -> None:
        if tally_key:
            setattr(self, tally_key, getattr(self, tally_key) + 1)

    def add(self, other: "DeliveryTally") -> None:
        for tally_key in TALLY_FIELDS:
            setattr(self, tally_key, getattr(self, tally_key) + getattr(other, tally_key))
        self.line_down += other.line_down

    def row(self) -> dict[str, object]:
        return asdict(self)


class Sender:
    """One pass over one channel by one connection."""

    def __init__(self, business: Business, channel: str, transport: Transport) -> None:
        self.business = business
        self.channel = channel
        self.line = transport
        self.tally = DeliveryTally()
        self.ledger = Ledger(business, transport.lease_seconds)
        self.is_connected = False

    def run(self, should_stop: Callable[[], bool], limit: int | None) -> DeliveryTally:
        try:
            while (
                not should_stop()
                and (size := self.next_batch_size(limit)) > 0
                and self.ensure_connected()
            ):
                batch = leases.claim_messages(self.channel, size)
                if not batch:
                    break
                self.send_batch(self.defer_quiet(self.drop_forbidden(batch)), should_stop)
        except Error:
            self.ledger.recover()
            raise
        finally:
            self.line.close()
        return self.tally

    def next_batch_size(self, limit: int | None) -> int:
        return BATCH_SIZE if limit is None else min(BATCH_SIZE, limit - self.tally.total)

    def ensure_connected(self) -> bool:
        """Nothing is claimed while nobody takes messages:
        the queue stays as it is, and says why once."""
        if self.is_connected:
            return True
        if not Message.objects.due(self.channel).exists():
            return False
        try:
            self.line.connect()
        except TransportDownError as error:
            self.report_down(str(error))
            return False
        mark_up(self.channel)
        self.is_connected = True
        return True

    def report_down(self, why: str) -> None:
        mark_down(self.channel, why)
        self.tally.line_down.append(why)

    def drop_forbidden(self, batch: list[Message]) -> list[Message]:
        """Cancel what may not go any more; the rest goes on."""
        today = self.business.today(timezone.now())
        reasons = reasons_not_to_send(self.business, batch, today=today)
        for message in batch:
            if message.pk in reasons:
                self.tally.count(
                    outcomes.transition_leased(message, Transition.FORBID, reasons[message.pk])
                )
        return [message for message in batch if message.pk not in reasons]

    def defer_quiet(self, batch: list[Message]) -> list[Message]:
        """Put off what would ring in quiet hours at the client's place."""
        quiet = permission.postponed_until(self.business, batch, now=timezone.now())
        for message in batch:
            if message.pk in quiet:
                outcomes.defer_until(message, quiet[message.pk])
        return [message for message in batch if message.pk not in quiet]

    def send_batch(self, batch: list[Message], should_stop: Callable[[], bool]) -> None:
        """One after the other; what is not reached goes back to the queue at once."""
        left = list(batch)
        until = time.monotonic() + BATCH_SECONDS
        try:
            while left and time.monotonic() < until and not should_stop():
                if not self.line.is_open:
                    self.ledger.sync()  # connecting may take long
                    self.line.connect()
                self.send_one(left.pop(0))
        except TransportDownError as error:
            self.is_connected = False
            logger.info("The line broke down: %s", error)
        self.ledger.sync()
        leases.requeue_leased(left)

    def send_one(self, message: Message) -> None:
        permit = LedgerPermit(self.ledger, message)
        try:
            outcome = self.line.send(message, permit)
        except Error:
            raise
        # a fault of ours must stop neither the others nor hide: it goes before a person
        except Exception as error:
            logger.exception("Message %s could not be sent", message.pk)
            outcome = SendOutcome(
                SendResult.UNKNOWN if permit.was_granted else SendResult.REFUSED,
                f"{type(error).__name__}: {error}",
            )
        self.tally.count(self.ledger.write(message, outcome))


class LedgerPermit:
    """Keeps `transport.SendPermit` for one message."""

    def __init__(self, ledger: Ledger, message: Message) -> None:
        self.ledger = ledger
        self.message = message
        self.was_granted = False

    def request(self) -> None:
        if self.ledger.in_hand is not self.message:
            self.ledger.request_permit(self.message)

    def is_granted(self) -> bool:
        self.request()
        self.was_granted = self.ledger.is_permitted()
        return self.was_granted


def deliver(
    *,
    limit: int | None = None,
    deadline_seconds: float = 45,
    stop: Callable[[], bool] = lambda: False,
    clock: Callable[[], float] = time.monotonic,
) -> DeliveryTally:
    """One pass: sweep, then send what is due until nothing is left, the deadline, the limit or
    `stop`."""
    tally = DeliveryTally()
    sweep()
    business = Business.current()
    if business is None or business.sends_nothing:
        return tally
    until = clock() + deadline_seconds

    def should_stop() -> bool:
        return stop() or clock() >= until

    for channel, transport in TRANSPORTS.items():
        if not Message.objects.due(channel).exists():
            continue
        left = None if limit is None else limit - tally.total
        tally.add(Sender(business, channel, transport(business)).run(should_stop, left))
    now = timezone.now()
    since = now - delivery_reports.QUERY_PERIOD
    for message in Message.objects.open_at(TextGateway.current(), since=since):
        if should_stop():
            break
        delivery_reports.query_gateway_again(message=message, now=now)
    return tally
