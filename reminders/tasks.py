"""What the alarm clock wakes: each task looks at the tables for what is to be done, and may run twice without harm."""

import logging
from datetime import timedelta

from django.utils import timezone

from clients import heartbeat
from clients.messaging import outbox
from clients.messaging.actions import retention
from clients.messaging.incoming import bounces, hooks
from clients.messaging.outbox import channel_health
from clients.models import Business
from reminders import actions
from reminders.forecasting import bridge, refitting
from reminders.models import ReminderStep
from reminders.pacing import actions as pacing_plan

MOST_A_NIGHT = 2000
TICK_SECONDS = 45  # well before django-q2's own timeout, which must never fire
BOUNCES_SECONDS = 20
logger = logging.getLogger(__name__)


def tick() -> str:
    """Each minute: hand the outbox over, finish what came in, then show a sign of life."""
    tally = outbox.deliver(deadline_seconds=TICK_SECONDS)
    hooks.finish(now=timezone.now())
    heartbeat.beat("worker")
    read_bounces()
    return f"{tally.accepted} accepted of {tally.total}"


def read_bounces() -> None:
    """What mail servers sent back. A mailbox that cannot be reached is tried again with the next tick."""
    bounces.finish(now=timezone.now())
    if not bounces.is_configured():
        return
    try:
        bounces.fetch(
            lambda content: bounces.receive(content=content, now=timezone.now()), deadline_seconds=BOUNCES_SECONDS
        )
    except bounces.MailboxError as error:
        logger.warning("The mailbox for bounces cannot be read: %s", error)
        channel_health.note(channel_health.BOUNCES, str(error))
    else:
        channel_health.clear(channel_health.BOUNCES)


def refresh_forecasts() -> int:
    """Each night: what the weather and the calendar changed; plans whose weeks are over end."""
    business = Business.current()
    if business is None:
        return 0
    now = timezone.now()
    pacing_plan.end_old_plans(today=business.today(now))
    count = actions.refresh_forecasts(deck_ids=None, today=business.today(now), now=now)
    bridge.freshen_statistics()
    return count


def learn() -> str:
    """Each night: learn from the book if enough is new; forecasts then follow the new fit."""
    business = Business.current()
    if business is None:
        return "There is no business yet."
    now = timezone.now()
    return refitting.refit(today=business.today(now), now=now).said


def forget_words() -> int:
    """Each night: what came in word for word longer ago than the owner keeps it."""
    return retention.forget_words(now=timezone.now())


def remind() -> str:
    """Each night: queue the words of the day, but only of steps that the owner lets go by themselves."""
    business = Business.current()
    if business is None or not ReminderStep.objects.filter(is_on=True, goes_by_itself=True).exists():
        return "No step goes by itself."
    now = timezone.now()
    tomorrow = business.today(now) + timedelta(days=1)
    queued = actions.remind(deck_ids=None, until=tomorrow, by=None, now=now, by_itself=True, most=MOST_A_NIGHT).queued
    return f"{len(queued)} queued"
