"""What the alarm clock wakes: each task looks at the tables for what is to be done, and may run
twice without harm."""

import logging
from collections.abc import Callable
from datetime import timedelta

from django.utils import timezone

from clients.messaging import incoming, outbox
from clients.messaging.actions import retention
from clients.messaging.outbox import sender
from clients.models import Business, Heartbeat
from reminders import actions
from reminders.forecasting import bridge, refitting
from reminders.models import ReminderStep
from reminders.pacing import actions as pacing_plan
from reminders.steps import ReminderRequest

MAX_PER_NIGHT = 2000
TICK_SECONDS = 45  # well before django-q2's own timeout, which must never fire
BOUNCES_SECONDS = 20
logger = logging.getLogger(__name__)


def tick() -> str:
    """Each minute: show a sign of life, hand the outbox over, read what came in. What goes wrong
    in one part keeps no other from its turn."""
    Heartbeat.objects.record("worker")
    parts: list[Callable[[], str]] = [hand_over, finish_events, fetch_bounces]
    return ", ".join(filter(None, map(attempt_part, parts)))


def attempt_part(part: Callable[[], str]) -> str:
    """What the part says of itself, or that it failed; the reason is in the log."""
    try:
        return part()
    except Exception:
        logger.exception("%s failed", part.__name__)
        return f"{part.__name__} failed"


def hand_over() -> str:
    tally = outbox.deliver(deadline_seconds=TICK_SECONDS)
    return f"{tally.accepted} accepted of {tally.total}"


def finish_events() -> str:
    incoming.finish_events(now=timezone.now())
    return ""


def fetch_bounces() -> str:
    """What mail servers sent back. A mailbox that cannot be reached is tried again with the next
    tick."""
    if not incoming.has_bounce_mailbox():
        return ""
    try:
        incoming.fetch_unseen_mails(
            lambda content: incoming.receive_returned_mail(content=content, now=timezone.now()),
            deadline_seconds=BOUNCES_SECONDS,
        )
    except incoming.MailboxError as error:
        logger.warning("The mailbox for bounces cannot be read: %s", error)
        sender.mark_down(sender.BOUNCE_MAILBOX, str(error))
    else:
        sender.mark_up(sender.BOUNCE_MAILBOX)
    return ""


def refresh_forecasts_nightly() -> int:
    """Each night: what the weather and the calendar changed; plans whose weeks are over end."""
    business = Business.current()
    if business is None:
        return 0
    now = timezone.now()
    pacing_plan.delete_old_plans(today=business.today(now))
    count = actions.refresh_forecasts(deck_ids=None, today=business.today(now), now=now)
    bridge.analyze_forecast_table()
    return count


def refit_nightly() -> str:
    """Each night: learn from the book if enough is new; forecasts then follow the new fit."""
    business = Business.current()
    if business is None:
        return "There is no business yet."
    now = timezone.now()
    return refitting.refit(today=business.today(now), now=now).outcome


def erase_expired_replies() -> int:
    """Each night: what came in word for word longer ago than the owner keeps it."""
    return retention.empty_raw_events(now=timezone.now())


def queue_reminders_nightly() -> str:
    """Each night: queue the words of the day, but only of steps that the owner lets go by
    themselves."""
    business = Business.current()
    if (
        business is None
        or not ReminderStep.objects.filter(is_on=True, goes_by_itself=True).exists()
    ):
        return "No step goes by itself."
    now = timezone.now()
    tomorrow = business.today(now) + timedelta(days=1)
    queued = actions.queue_reminders(
        asked=ReminderRequest(tomorrow, by_itself=True), by=None, now=now, limit=MAX_PER_NIGHT
    ).queued
    return f"{len(queued)} queued"
