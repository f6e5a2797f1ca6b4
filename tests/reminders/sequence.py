"""Running and looking at the sequence of words, for the tests of it."""

from datetime import date
from zoneinfo import ZoneInfo

from clients.messaging.models import Message
from reminders import actions
from reminders.steps import plan_reminders
from tests.reminders.conftest import NOW

HALIFAX = ZoneInfo("America/Halifax")
JANUARY = date(2027, 1, 1)


def remind(now=NOW, until=JANUARY, deck_ids=None, **options):
    return actions.queue_reminders(deck_ids=deck_ids, until=until, by=None, now=now, **options)


def planned(business, now=NOW, until=JANUARY):
    return plan_reminders(business=business, now=now, until=until)


def went(message, at=NOW):
    Message.objects.filter(pk=message.pk).update(state="accepted", accepted_at=at)


def why(result):
    return {each.deck_id: each.why for each in result.left_out}
