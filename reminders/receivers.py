"""What follows here, in the same transaction, when decks, jobs, bookings or answers change."""

from collections.abc import Callable, Collection, Sequence
from datetime import datetime

from django.dispatch import receiver
from django.utils import timezone

from clients.events import decks_changed, messages_taken_back, work_decided
from clients.messaging.models import Message
from clients.models import Business
from reminders import actions
from reminders.models import Stop


@receiver(decks_changed)
def refresh_changed_decks(*, deck_ids: Collection[int], now: datetime, **_signal: object) -> None:
    """New forecasts, and no word about a coat that another has been put on."""
    business = Business.current()
    today = business.today(now) if business else timezone.localdate(now)
    actions.refresh_forecasts(deck_ids=deck_ids, today=today, now=now)
    actions.cancel_outdated_reminders(deck_ids=deck_ids, now=now)


@receiver(work_decided)
def end_reminding_about_work(
    *, deck_ids: Collection[int], is_wanted: bool, words: str, now: datetime, **_signal: object
) -> None:
    """What waits about booked decks is cancelled; about declined ones nothing more is said."""
    if is_wanted:
        actions.cancel_for_booking(deck_ids=deck_ids, words=words, now=now)
    else:
        actions.stop_reminders(
            deck_ids=deck_ids, why=Stop.Why.DECLINED, words=words, by=None, now=now
        )


@receiver(messages_taken_back)
def forget_reminders_taken_back(
    *, messages: Sequence[Message], **_signal: object
) -> Callable[[Collection[int]], int]:
    """A reminder that was stopped before it left counts as never sent."""
    return lambda stopped: actions.forget_unsent_reminders(message_ids=stopped)
