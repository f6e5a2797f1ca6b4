"""What the alarm clock wakes: each task looks at the tables for what is to be done, and may run
twice without harm."""

import logging
from collections.abc import Callable
from datetime import datetime, timedelta

from django.contrib.sessions.backends.db import SessionStore
from django.utils import timezone

from clients.messaging import incoming, outbox
from clients.messaging.actions import retention, staff_notices
from clients.messaging.channels import TRANSPORTS
from clients.messaging.outbox import sender
from clients.models import Business, Heartbeat
from jobs import importing, photos
from jobs.actions.photo_files import delete_orphaned_photos
from jobs.models import ListImport, UnwrittenSearch
from reminders import actions, care_plans, figures
from reminders.forecasting import refitting, storing
from reminders.models import ReminderStep
from reminders.pacing import actions as pacing_plan
from reminders.steps import ReminderRequest, plan_reminders

MAX_PER_NIGHT = 2000
TICK_SECONDS = 45  # well before django-q2's own timeout, which must never fire
BOUNCES_SECONDS = 20
logger = logging.getLogger(__name__)


def tick() -> str:
    """Each minute: show a sign of life, hand the outbox over, read what came in. What goes wrong
    in one part keeps no other from its turn."""
    Heartbeat.objects.record("worker")
    parts: list[Callable[[], str]] = [
        hand_over,
        tell_staff,
        finish_events,
        continue_lists,
        fetch_bounces,
    ]
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


def tell_staff() -> str:
    """What people of the business are to hear of, and that a channel stands still."""
    now = timezone.now()
    if Business.current() and (down := sender.down_reasons(list(TRANSPORTS))):
        staff_notices.announce_lines_down(reasons=down, now=now)
    staff_notices.mail_staff_notices(now=now)
    return ""


def finish_events() -> str:
    incoming.finish_events(now=timezone.now())
    return ""


def continue_lists() -> str:
    """Lists that are coming in, should nobody have been woken for them; and words of the search
    that are noted only."""
    if ListImport.objects.working().exists() or UnwrittenSearch.objects.exists():
        importing.continue_imports()
    return ""


def fetch_bounces() -> str:
    """What mail servers sent back. A mailbox that cannot be reached is tried again with the next
    tick."""
    if not incoming.has_bounce_mailbox() or is_book_held():
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


def is_book_held() -> bool:
    """A restored book queues nothing by itself, and leaves the mailbox to the one that sends."""
    business = Business.current()
    return business is not None and business.sends_nothing


def refresh_forecasts_nightly() -> int:
    """Each night: what the weather and the calendar changed; plans whose weeks are over end, and
    care plans get their visits."""
    business = Business.current()
    if business is None:
        return 0
    now = timezone.now()
    pacing_plan.delete_old_plans(today=business.today(now))
    count = actions.refresh_forecasts(deck_ids=None, today=business.today(now), now=now)
    storing.analyze_forecast_table()
    figures.keep_work_to_come(today=business.today(now), business=business)
    if not is_book_held():
        care_plans.propose_plan_visits(now=now)
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


def tidy_nightly() -> int:
    """Each night: what came in word for word longer ago than the owner keeps it, and files of
    photographs that belong to nothing, sessions that are over."""
    now = timezone.now()
    photos.delete_abandoned_photos(now=now)
    delete_orphaned_photos(now=now)
    SessionStore.clear_expired()
    return retention.empty_raw_events(now=now)


def queue_reminders_nightly() -> str:
    """Each night: queue the words of the day, but only of steps that the owner lets go by
    themselves."""
    business = Business.current()
    if (
        business is None
        or not ReminderStep.objects.filter(is_on=True, goes_by_itself=True).exists()
    ):
        return "No step goes by itself."
    if is_book_held():
        return "The book is held."
    now = timezone.now()
    tomorrow = business.today(now) + timedelta(days=1)
    queued = actions.queue_reminders(
        asked=ReminderRequest(tomorrow, by_itself=True), by=None, now=now, limit=MAX_PER_NIGHT
    ).queued
    return f"{len(queued)} queued"
