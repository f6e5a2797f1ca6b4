"""Running and looking at the sequence of words, for the tests of it."""

from datetime import date
from zoneinfo import ZoneInfo

from clients.messaging.models import Message
from reminders import actions
from reminders.steps import ReminderRequest, plan_reminders
from tests.reminders.conftest import NOW

HALIFAX = ZoneInfo("America/Halifax")
JANUARY = date(2027, 1, 1)


def remind(now=NOW, until=JANUARY, deck_ids=None, **options):
    of_run = {name: options.pop(name) for name in ("at_once", "by_itself") if name in options}
    asked = ReminderRequest(until, deck_ids, **of_run)
    return actions.queue_reminders(asked=asked, by=None, now=now, **options)


def planned(business, now=NOW, until=JANUARY):
    return plan_reminders(ReminderRequest(until), business=business, now=now)


def went(message, at=NOW):
    Message.objects.filter(pk=message.pk).update(state="accepted", accepted_at=at)


def why(result):
    return {each.deck_id: each.why for each in result.left_out}
