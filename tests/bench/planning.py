"""Planning a month of reminders for the whole book, against the SQL it runs;
and queueing the first thousand."""

import statistics
from datetime import date, datetime
from functools import partial

from django.db import connection
from django.test.utils import CaptureQueriesContext

from clients.models import Business
from reminders import actions
from reminders.months import month_of, shift_months
from reminders.steps import ReminderRequest, plan_reminders
from tests.bench.pages import run_statements
from tests.bench.timing import elapsed_seconds, time_in_turn

MESSAGES = 1_000


def measure_reminder_planning(today: date, now: datetime) -> dict[str, float]:
    """Everything due for a word until the end of next month;
    nobody has heard anything yet, the most there can be."""
    business = Business.objects.get()
    until = shift_months(month_of(today), 2)
    ask = partial(plan_reminders, ReminderRequest(until), business=business, now=now)
    with CaptureQueriesContext(connection) as captured:
        made = ask()
    pair = time_in_turn(ask, lambda: run_statements([query["sql"] for query in captured]), times=3)
    queue = partial(
        actions.queue_reminders,
        asked=ReminderRequest(until),
        by=None,
        now=now,
        limit=MESSAGES,
    )
    return {
        "messages": float(len(made.planned)),
        "left_out": float(len(made.left_out)),
        "statements": float(len(captured)),
        "plan_s": statistics.median(pair.ours),
        "sql_s": statistics.median(pair.other),
        "ratio": pair.ratio,
        "queue_thousand_s": elapsed_seconds(queue),
    }
