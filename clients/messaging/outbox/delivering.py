"""Handing the outbox over, channel by channel. Safe to run on any number of hosts at once."""

import time
from collections.abc import Callable

from django.utils import timezone

from clients.messaging.channels import TRANSPORTS
from clients.messaging.outbox import delivery_reports
from clients.messaging.outbox.sender import DeliveryTally, Sender
from clients.messaging.outbox.sweeping import sweep
from clients.models import Business


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

    for channel, transport in TRANSPORTS.items():
        left = None if limit is None else limit - tally.total
        tally.add(Sender(business, channel, transport(business)).run(should_stop, left))
    delivery_reports.query_open_messages(now=timezone.now(), should_stop=should_stop)
    return tally
