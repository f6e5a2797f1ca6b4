"""Handing the outbox over, channel by channel. Safe to run on any number of hosts at once."""

import math
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor

from django.conf import settings
from django.db import connection
from django.utils import timezone

from clients.messaging.channels import LINES
from clients.messaging.models import Message
from clients.messaging.outbox import delivery_reports
from clients.messaging.outbox.sender import BATCH, Sender, Tally
from clients.messaging.outbox.sweeping import sweep
from clients.models import Business
from clients.models.channel import Channel

IsOver = Callable[[], bool]


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

    def is_over() -> bool:
        return stop() or clock() >= until

    for channel in LINES:
        tally.add(hand_over(business, channel, is_over, None if limit is None else limit - tally.total))
    delivery_reports.ask_around(now=timezone.now(), is_over=is_over)
    return tally


def hand_over(business: Business, channel: str, is_over: IsOver, limit: int | None) -> Tally:
    """By as many connections side by side as there is work for; each has a database connection of its own."""
    count = connections_for(channel, limit)
    shares = [limit if limit is None else (limit + place) // count for place in range(count)]
    first = Sender(business, channel, LINES[channel](business))
    if count == 1:
        return first.run(is_over, shares[0])
    with ThreadPoolExecutor(count - 1, thread_name_prefix=channel) as threads:
        others = [threads.submit(run_beside, business, channel, is_over, share) for share in shares[1:]]
        tally = first.run(is_over, shares[0])
    for other in others:
        tally.add(other.result())
    return tally


def connections_for(channel: str, limit: int | None) -> int:
    """One for each batch that is due, as far as the settings allow."""
    allowed = settings.EMAIL_CONNECTIONS if channel == Channel.EMAIL else 1
    if allowed <= 1:
        return 1
    due = Message.objects.due(channel)[: allowed * BATCH].count()
    wanted = due if limit is None else min(due, limit)
    return max(1, math.ceil(wanted / BATCH))


def run_beside(business: Business, channel: str, is_over: IsOver, limit: int | None) -> Tally:
    try:
        return Sender(business, channel, LINES[channel](business), is_extra=True).run(is_over, limit)
    finally:
        connection.close()
