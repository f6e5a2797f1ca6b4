"""Handing the outbox over, channel by channel. Safe to run on any number of hosts at once."""

import math
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor

from django.conf import settings
from django.db import connection
from django.utils import timezone

from clients.messaging.channels import TRANSPORTS
from clients.messaging.models import Message
from clients.messaging.outbox import delivery_reports
from clients.messaging.outbox.sender import BATCH_SIZE, DeliveryTally, Sender
from clients.messaging.outbox.sweeping import sweep
from clients.models import Business
from clients.models.channel import traits_of

ShouldStop = Callable[[], bool]


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
    if business is None:
        return tally
    until = clock() + deadline_seconds

    def should_stop() -> bool:
        return stop() or clock() >= until

    for channel in TRANSPORTS:
        tally.add(
            deliver_channel(
                business, channel, should_stop, None if limit is None else limit - tally.total
            )
        )
    delivery_reports.query_open_messages(now=timezone.now(), should_stop=should_stop)
    return tally


def deliver_channel(
    business: Business, channel: str, should_stop: ShouldStop, limit: int | None
) -> DeliveryTally:
    """By as many connections side by side as there is work for;
    each has a database connection of its own."""
    count = connection_count(channel, limit)
    shares = [limit if limit is None else (limit + place) // count for place in range(count)]
    first = Sender(business, channel, TRANSPORTS[channel](business))
    if count == 1:
        return first.run(should_stop, shares[0])
    with ThreadPoolExecutor(count - 1, thread_name_prefix=channel) as threads:
        others = [
            threads.submit(run_extra_sender, business, channel, should_stop, share)
            for share in shares[1:]
        ]
        tally = first.run(should_stop, shares[0])
    for other in others:
        tally.add(other.result())
    return tally


def connection_count(channel: str, limit: int | None) -> int:
    """One for each batch that is due, as far as the settings allow."""
    allowed = settings.EMAIL_CONNECTIONS if traits_of(channel).is_by_mailbox else 1
    if allowed <= 1:
        return 1
    due = Message.objects.due(channel)[: allowed * BATCH_SIZE].count()
    wanted = due if limit is None else min(due, limit)
    return max(1, math.ceil(wanted / BATCH_SIZE))


def run_extra_sender(
    business: Business, channel: str, should_stop: ShouldStop, limit: int | None
) -> DeliveryTally:
    try:
        return Sender(business, channel, TRANSPORTS[channel](business), is_extra=True).run(
            should_stop, limit
        )
    finally:
        connection.close()
