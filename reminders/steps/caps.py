"""How often a client may be written to: days that keep apart from what was and will be said.
Days in, no queries."""

from collections.abc import Iterable
from datetime import date, timedelta

from clients.messaging.models import SendingRules


def allowed_day(day: date, others: Iterable[date], rules: SendingRules) -> date:
    """The day itself, or the first one after it that keeps the rules;
    `others` are days of reminders and offers.

    Two of them are at least `days_between` days apart, and any `most_days` days hold at most
    `most_messages`.
    """
    if not (taken := sorted(others)):
        return day
    found = day
    while (later := postponed_day(found, taken, rules)) > found:
        found = later
    return found


def postponed_day(day: date, taken: list[date], rules: SendingRules) -> date:
    """A later day if this one breaks a rule, else the day."""
    gap = timedelta(days=rules.days_between)
    near = [other for other in taken if abs(day - other) < gap]
    if near:
        return max(near) + gap
    span = timedelta(days=rules.most_days)
    for start in [*(other for other in taken if day - span < other < day), day]:
        held = [other for other in taken if start <= other < start + span]
        if len(held) >= rules.most_messages:
            return held[0] + span
    return day
