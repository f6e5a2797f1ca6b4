"""What the alarm clock wakes: each task looks at the tables for what is to be done, and may run twice without harm."""

from django.utils import timezone

from clients import heartbeat, hooks, outbox
from clients.models import Business
from reminders import actions, refitting

TICK_SECONDS = 45  # well before django-q2's own timeout, which must never fire


def tick() -> str:
    """Each minute: hand the outbox over, finish what came in, then show a sign of life."""
    tally = outbox.deliver(deadline_seconds=TICK_SECONDS)
    hooks.finish(now=timezone.now())
    heartbeat.beat("worker")
    return f"{tally.accepted} accepted of {tally.total}"


def refresh_forecasts() -> int:
    """Each night: what the weather and the calendar changed."""
    business = Business.current()
    if business is None:
        return 0
    now = timezone.now()
    return actions.refresh_forecasts(deck_ids=None, today=business.today(now), now=now)


def learn() -> str:
    """Each night: learn from the book if enough is new; forecasts then follow the new fit."""
    business = Business.current()
    if business is None:
        return "There is no business yet."
    now = timezone.now()
    return refitting.refit(today=business.today(now), now=now).said
