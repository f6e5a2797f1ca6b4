"""What the alarm clock wakes: each task looks at the tables for what is to be done, and may run
twice without harm."""

import logging
from datetime import datetime, timedelta

from django.utils import timezone

from clients.messaging import incoming, outbox
from clients.messaging.actions import retention, staff_notices
from clients.messaging.channels import TRANSPORTS
from clients.messaging.outbox import outcomes
from clients.models import Business, Heartbeat
from reminders import actions
from reminders.forecasting import bridge, refitting
from reminders.models import ReminderStep
from reminders.pacing import actions as pacing_plan
from reminders.steps import ReminderRequest, plan_reminders

MAX_PER_NIGHT = 2000
TICK_SECONDS = 45  # well before django-q2's own timeout, which must never fire
BOUNCES_SECONDS = 20
logger = logging.getLogger(__name__)


def tick() -> str:
    """Each minute: hand the outbox over, show a sign of life, read what came in."""
    tally = outbox.deliver(deadline_seconds=TICK_SECONDS)
    now = timezone.now()
    if tally.line_down:
        down = outcomes.down_reasons(list(TRANSPORTS))
        staff_notices.announce_lines_down(reasons=down, now=now)
    staff_notices.mail_staff_notices(now=now)
    Heartbeat.objects.record("worker")
    incoming.finish_events(now=timezone.now())
    fetch_bounces()
    return f"{tally.accepted} accepted of {tally.total}"


def fetch_bounces() -> None:
    """What mail servers sent back. A mailbox that cannot be reached is tried again with the next
    tick."""
    if not incoming.has_bounce_mailbox():
        return
    try:
        incoming.fetch_unseen_mails(
            lambda content: incoming.receive_returned_mail(content=content, now=timezone.now()),
            deadline_seconds=BOUNCES_SECONDS,
        )
    except incoming.MailboxError as error:
        logger.warning("The mailbox for bounces cannot be read: %s", error)
        outcomes.mark_down(outcomes.BOUNCE_MAILBOX, str(error))
    else:
        outcomes.mark_up(outcomes.BOUNCE_MAILBOX)


def refresh_forecasts_nightly() -> int:
    """Each night: what the weather and the calendar changed; plans whose weeks are over end."""
    business = Business.current()
    if business is None:
        return 0
    now = timezone.now()
    pacing_plan.delete_old_plans(today=business.today(now))
    count = actions.refresh_forecasts(deck_ids=None, today=business.today(now), now=now)
    bridge.analyze_forecast_table()
    announce_week(business, now=now)
    return count


def announce_week(business: Business, *, now: datetime) -> int:
    """On Mondays: how many clients are to be reminded this week. How many there are."""
    today = business.today(now)
    if today.isoweekday() != 1:
        return 0
    week = ReminderRequest(today + timedelta(days=7))
    count = len(plan_reminders(week, business=business, now=now).planned)
    if count:
        clients = "1 client is" if count == 1 else f"{count} clients are"
        staff_notices.announce_to_staff(
            key=f"week/{today}",
            words=f"The plan of this week is ready: {clients} to be reminded.",
            url="/due/",
            now=now,
        )
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
