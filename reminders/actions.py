"""The deeds of this app: bring forecasts up to date, and remind."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, datetime

from django.db import transaction
from django.db.models import prefetch_related_objects

from clients.models import Business, Client, Deck, Message, User
from clients.models.channel import Channel
from clients.outbox import Unsendable, queue_message
from reminders import bridge
from reminders.drafts import Draft, Plan, plan
from reminders.models import Reminder


@dataclass(frozen=True)
class RemindResult:
    """What was queued, and the decks left out with the reason in words."""

    queued: list[Message]
    left_out: list[tuple[Deck, str]]


def refresh_forecasts(*, deck_ids: Collection[int] | None = None, today: date, now: datetime) -> int:
    """Reckon anew when the newest coat of each deck is due; without deck ids, of all. Returns how many have one."""
    return bridge.refresh(deck_ids=deck_ids, today=today, now=now)


@transaction.atomic
def remind(*, deck_ids: Collection[int], month: date, by: User | None, now: datetime, step: int = 1) -> RemindResult:
    """Queue one message a client about the chosen decks that are due by the end of the month.

    Never twice about a coat at a step: the clients are locked in order of key, so of two overlapping runs the second
    waits and then finds the reminders of the first; constraints stand behind both.
    """
    business = Business.objects.get()
    lock_clients(deck_ids)
    made = plan(deck_ids=deck_ids, month=month, business=business, today=business.today(now), step=step)
    queued = [message for draft in made.drafts if (message := queue(draft, made, step=step, by=by, now=now))]
    return RemindResult(queued, made.left_out)


def lock_clients(deck_ids: Collection[int]) -> None:
    owners = Deck.objects.filter(pk__in=deck_ids).values("property__client_id")
    list(Client.objects.filter(pk__in=owners).order_by("pk").select_for_update(no_key=True).values_list("pk"))


def queue(draft: Draft, made: Plan, *, step: int, by: User | None, now: datetime) -> Message | None:
    """The message in the outbox with its reminders; None if it is there already or cannot be sent as it is."""
    try:
        with transaction.atomic():
            message, is_new = queue_message(
                client=draft.client, kind=Message.Kind.REMINDER, channel=Channel.EMAIL, address=draft.allowed.address,
                subject=draft.subject, text=draft.text, html=draft.html, key=draft.key, consent=draft.allowed.consent,
                basis=draft.allowed.basis, now=now, by=by, language=draft.client.language or "en",
            )  # fmt: skip
    except Unsendable as problem:
        made.left_out += [(each.deck, str(problem)) for each in draft.decks]
        return None
    if not is_new:
        made.left_out += [(each.deck, "A reminder about this coat is in the outbox already.") for each in draft.decks]
        return None
    Reminder.objects.bulk_create(
        Reminder(deck=each.deck, job_id=each.forecast.job_id, message=message, step=step, channel=Channel.EMAIL)
        for each in draft.decks
    )
    return message


def with_reminders(messages: Collection[Message]) -> list[tuple[Message, list[Reminder]]]:
    """Each message with the reminders, and so the decks, that it is about."""
    prefetch_related_objects(list(messages), "client", "reminders__deck")
    return [(message, sorted(message.reminders.all(), key=lambda reminder: reminder.pk)) for message in messages]
