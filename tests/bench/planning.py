"""Planning a month of reminders for the whole book, against the SQL it runs; and queueing the first thousand."""

import statistics
from datetime import date, datetime
from functools import partial

from django.db import connection
from django.test.utils import CaptureQueriesContext

from clients.models import Business
from reminders import actions
from reminders.months import month_of, months_on
from reminders.steps import plan
from tests.bench.pages import run_all
from tests.bench.timing import in_turn, seconds

MESSAGES = 1_000


def measure(today: date, now: datetime) -> dict[str, float]:
    """Everything due for a word until the end of next month; nobody has heard anything yet, the most there can be."""
    business, until = Business.objects.get(), months_on(month_of(today), 2)
    ask = partial(plan, business=business, now=now, until=until)
    with CaptureQueriesContext(connection) as captured:
        made = ask()
    pair = in_turn(ask, lambda: run_all([query["sql"] for query in captured]), times=3)
    queue = partial(actions.remind, deck_ids=None, until=until, by=None, now=now, most=MESSAGES)
    return {
        "messages": float(len(made.planned)),
        "left_out": float(len(made.left_out)),
        "statements": float(len(captured)),
        "plan_s": statistics.median(pair.ours),
        "sql_s": statistics.median(pair.other),
        "ratio": pair.ratio,
        "queue_thousand_s": seconds(queue),
    }
