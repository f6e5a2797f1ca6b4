"""What this app does: bring forecasts up to date, remind, and stop reminding; and what follows
here, in the same transaction, when decks, jobs, bookings or answers change."""

import re
from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from urllib.parse import unquote_plus

from django.db import transaction
from django.db.models import F, Q, prefetch_related_objects
from django.dispatch import receiver
from django.utils import timezone

from clients.events import (
    clients_erased,
    decks_changed,
    decks_handed_over,
    messages_taken_back,
    work_decided,
)
from clients.messaging import outbox
from clients.messaging.models import Consent, Message, Sending
from clients.messaging.outbox import (
    Transition,
    dismiss_message,
    expire_after,
    is_in_doubt,
    queueing,
)
from clients.messaging.readiness import blocking_parts, not_ready_words
from clients.messaging.unsendable import Unsendable
from clients.models import Business, Client, Deck, User
from reminders.forecasting import storing
from reminders.models import ClientAnswer, ClientLink, Forecast, Reminder, SavedView, Stop
from reminders.steps import (
    Draft,
    LeftOut,
    ReminderPlan,
    ReminderPlanner,
    ReminderRequest,
    coats_on_decks,
    plan_fingerprint,
    plan_reminders,
    unwritable_decks,
    write_drafts,
)

OUTDATED = "The deck has a new coat, or is archived."
ALREADY_QUEUED = "A reminder about this coat is in the outbox already."


class PlanChanged(Exception):  # noqa: N818 - it is no fault
    """Something changed since the preview was made: look at it again before anything is queued."""


@dataclass(frozen=True)
class RemindResult:
    """What was queued, and the chosen decks left out;
    of the whole book only those that a preview showed to go."""

    queued: list[Message]
    left_out: list[LeftOut]


@dataclass(frozen=True)
class QueueRun:
    """Who queues when, and the sending that it belongs to if it can be taken back."""

    business: Business
    by: User | None
    now: datetime
    sending: Sending | None = None


def refresh_forecasts(
    *, deck_ids: Collection[int] | None = None, today: date, now: datetime
) -> int:
    """Calculate when the newest coat of each deck is due; without deck ids, of all.
    Returns how many have one."""
    return storing.store_forecasts(deck_ids=deck_ids, today=today, now=now)


@transaction.atomic
def queue_reminders(
    *,
    asked: ReminderRequest,
    by: User | None,
    now: datetime,
    limit: int | None = None,
    agreed_fingerprint: str = "",
) -> RemindResult:
    """Queue one message a client about the words that are asked for.

    Never twice about a coat and step in any channel: the clients are locked in order of key, so of
    two overlapping runs the second waits and then finds the reminders of the first; constraints
    stand behind both. `limit` is of the number of messages, soonest first. `agreed_fingerprint` is
    that of a preview; raises `PlanChanged` if the plan is another by now. What a person queues
    waits so long as it can be taken back.
    """
    business = Business.objects.get()
    ahead = plan_reminders(asked, business=business, now=now)
    chosen = ahead.planned[:limit]
    lock_clients(each.client_id for each in chosen)
    decks = [due_step.coat.deck_id for each in chosen for due_step in each.due_steps]
    made = plan_reminders(replace(asked, deck_ids=decks), business=business, now=now)
    if agreed_fingerprint and plan_fingerprint(made.planned) != agreed_fingerprint:
        raise PlanChanged(PlanChanged.__doc__)
    made.leave_out_clients(asked.without_clients)
    run = QueueRun(business, by, now, outbox.open_sending(by=by, now=now))
    queued = queue_planned_messages(made, run)
    return RemindResult(
        queued, made.left_out if asked.deck_ids is None else made.left_out + ahead.left_out
    )


@transaction.atomic
def resend_by_other_channel(*, message: Message, by: User, now: datetime) -> RemindResult:
    """Say by another channel what nobody knows to have gone out:
    a decision of the person, who takes it that it did not.

    The unconfirmed message is then left at that. Nothing changes if there is no other way, or
    before the time that the sending rules want to pass.
    """
    lock_clients([message.client_id])
    if not is_in_doubt(message, now=now):
        return RemindResult([], [])
    business = Business.objects.get()
    decks = message.reminders.values("deck")
    asked = ReminderRequest(date.max, at_once=True)
    planning = ReminderPlanner.of(coats_on_decks(decks), asked, business=business, now=now)
    planning.facts.assumed_unsent = {message.pk}
    made = planning.run()
    if made.planned:
        dismiss_message(message=message, now=now, by=by)
    return RemindResult(queue_planned_messages(made, QueueRun(business, by, now)), made.left_out)


def lock_clients(client_ids: Iterable[int]) -> None:
    """Whoever plans, books or stops for these clients meanwhile waits until this transaction is
    over."""
    rows = Client.objects.filter(pk__in=set(client_ids)).order_by("pk")
    list(rows.select_for_update(no_key=True).values_list("pk"))


def queue_planned_messages(made: ReminderPlan, run: QueueRun) -> list[Message]:
    """The messages in the outbox with their reminders; what cannot be sent joins the left out."""
    leave_out_unready(made, run.business)
    today = run.business.today(run.now)
    drafts, unwritten = write_drafts(made.planned, business=run.business, today=today)
    made.left_out += unwritten
    messages = messages_from_drafts(drafts, made, run)
    new = {
        message.idempotency_key: message
        for message in queueing.store_new_messages(list(messages.values()), by=run.by, now=run.now)
    }
    for key in messages.keys() - new.keys():
        made.left_out += unwritable_decks(
            next(each for each in made.planned if each.key == key), ALREADY_QUEUED
        )
    ClientLink.objects.bulk_create(
        ClientLink(message=new[draft.planned.key], page_hash=draft.page.page_hash, made_at=run.now)
        for draft in drafts
        if draft.page and draft.planned.key in new
    )
    Reminder.objects.bulk_create(
        Reminder(
            deck_id=due_step.coat.deck_id,
            job_id=due_step.coat.job_id,
            message=new[each.key],
            step=due_step.next.step.number,
            channel=each.route.channel,
            replaces_id=due_step.next.replaces,
        )
        for each in made.planned
        if each.key in new
        for due_step in each.due_steps
    )
    return sorted(new.values(), key=lambda message: message.pk)


def leave_out_unready(made: ReminderPlan, business: Business) -> None:
    """Nothing goes by a channel while something keeps from sending by it."""
    channels = {each.route.channel for each in made.planned}
    parts = {channel: blocking_parts(business, [channel]) for channel in channels}
    for each in made.planned:
        if parts[each.route.channel]:
            made.left_out += unwritable_decks(each, not_ready_words(parts[each.route.channel]))
    made.planned = [each for each in made.planned if not parts[each.route.channel]]


def messages_from_drafts(
    drafts: Sequence[Draft], made: ReminderPlan, run: QueueRun
) -> dict[str, Message]:
    """Key → message, checked and not yet kept."""
    clients = Client.objects.in_bulk([draft.planned.client_id for draft in drafts])
    consents = Consent.objects.in_bulk(
        filter(None, (draft.planned.route.permission.consent_id for draft in drafts))
    )
    found = {}
    for draft in drafts:
        try:
            message = message_from_draft(draft, clients, consents, run)
        except Unsendable as problem:
            made.left_out += unwritable_decks(draft.planned, str(problem))
        else:
            found[message.idempotency_key] = message
    return found


def message_from_draft(
    draft: Draft, clients: dict[int, Client], consents: dict[int, Consent], run: QueueRun
) -> Message:
    """The message with the law that was asked when it was planned, not to be sent once its basis
    has run out."""
    planned = draft.planned
    route = draft.planned.route
    allowed = route.permission
    outgoing = outbox.OutgoingMessage(
        client=clients[planned.client_id],
        kind=Message.Kind.REMINDER,
        channel=route.channel,
        key=planned.key,
        address=route.address,
        basis=allowed.basis,
        consent=consents.get(allowed.consent_id or 0),
        written=draft.written,
        not_before=planned.goes_at,
        sending=run.sending,
    )
    message = queueing.draft_message(run.business, outgoing, now=run.now, by=run.by)
    message.law = allowed.rule.code
    expire_after(message, allowed.law_ends_on, run.business)
    return message


@transaction.atomic
def stop_reminders(
    *,
    deck_ids: Collection[int],
    why: str,
    words: str = "",
    until: date | None = None,
    by: User | None,
    now: datetime,
) -> int:
    """No more reminders about the coats now on these decks, and none that waits goes out.
    How many coats."""
    lock_clients_of_decks(deck_ids)
    coats = Forecast.objects.filter(deck__in=deck_ids).values_list("deck_id", "job_id")
    for deck, job in coats:
        values = {
            "deck_id": deck,
            "why": why,
            "words": words[:300],
            "until": until,
            "at": now,
            "by": by,
        }
        Stop.objects.update_or_create(job_id=job, defaults=values)
    cancel_waiting(deck_ids, f"{Stop.Why(why).label}.", by=by, now=now)
    return len(coats)


def lift_reminder_stops(*, deck_ids: Collection[int]) -> int:
    """Reminders about the coats now on these decks may go again; how many were stopped."""
    coats = Forecast.objects.filter(deck__in=deck_ids).values("job")
    return Stop.objects.filter(deck__in=deck_ids, job__in=coats).delete()[0]


@transaction.atomic
def cancel_for_booking(*, deck_ids: Collection[int], words: str, now: datetime) -> int:
    """Cancel what waits about decks that a visit was booked for."""
    lock_clients_of_decks(deck_ids)
    return cancel_waiting(deck_ids, words, by=None, now=now)


@transaction.atomic
def cancel_outdated_reminders(*, deck_ids: Collection[int], now: datetime) -> int:
    """Cancel what waits about coats that another has been put on, or that are gone."""
    waiting = Reminder.objects.filter(
        deck__in=deck_ids, message__state__in=Transition.CANCEL.starts
    ).select_related("message")
    if not waiting.exists():
        return 0
    lock_clients_of_decks(deck_ids)
    is_gone = Q(deck__archived_at__isnull=False) | Q(deck__forecast=None)
    outdated = waiting.filter(is_gone | ~Q(job=F("deck__forecast__job")))
    messages = {reminder.message_id: reminder.message for reminder in outdated}
    return outbox.cancel_unsent(messages=messages.values(), why=OUTDATED, now=now, by=None)


def forget_unsent_reminders(*, message_ids: Collection[int]) -> int:
    """The decisions behind messages that were taken back before they left; how many."""
    # The same message queued again has the same page; of one that nobody got nothing was answered.
    ClientLink.objects.filter(message__in=message_ids).delete()
    return Reminder.objects.filter(message__in=message_ids).delete()[0]


def lock_clients_of_decks(deck_ids: Collection[int]) -> None:
    lock_clients(Deck.objects.filter(pk__in=deck_ids).values_list("site__client_id", flat=True))


def cancel_waiting(deck_ids: Collection[int], why: str, *, by: User | None, now: datetime) -> int:
    waiting = Message.objects.filter(
        reminders__deck__in=deck_ids, state__in=Transition.CANCEL.starts
    ).distinct()
    return outbox.cancel_unsent(messages=list(waiting), why=why, now=now, by=by)


def messages_with_reminders(messages: Collection[Message]) -> list[tuple[Message, list[Reminder]]]:
    """Each message with the reminders, and so the decks, that it is about."""
    prefetch_related_objects(list(messages), "client", "reminders__deck")
    return [
        (message, sorted(message.reminders.all(), key=lambda reminder: reminder.pk))
        for message in messages
    ]


@receiver(decks_changed)
def refresh_changed_decks(*, deck_ids: Collection[int], now: datetime, **_signal: object) -> None:
    """New forecasts, and no word about a coat that another has been put on."""
    business = Business.current()
    today = business.today(now) if business else timezone.localdate(now)
    refresh_forecasts(deck_ids=deck_ids, today=today, now=now)
    cancel_outdated_reminders(deck_ids=deck_ids, now=now)


@receiver(work_decided)
def end_reminding_about_work(
    *, deck_ids: Collection[int], is_wanted: bool, words: str, now: datetime, **_signal: object
) -> None:
    """What waits about booked decks is cancelled; about declined ones nothing more is said."""
    if is_wanted:
        cancel_for_booking(deck_ids=deck_ids, words=words, now=now)
    else:
        stop_reminders(deck_ids=deck_ids, why=Stop.Why.DECLINED, words=words, by=None, now=now)


@receiver(decks_handed_over)
@transaction.atomic
def begin_with_new_owner(
    *, deck_ids: Collection[int], words: str, now: datetime, **_signal: object
) -> None:
    """What waits for the former owner is not sent; what they asked for stops nobody else, unlike
    what somebody of the business decided."""
    cancel_waiting(deck_ids, words, by=None, now=now)
    Stop.objects.filter(deck__in=deck_ids).exclude(why=Stop.Why.BY_HAND).delete()


@receiver(clients_erased)
def forget_answers(
    *, client_ids: Collection[int], named_by: re.Pattern[str], **_signal: object
) -> None:
    """Names, numbers and addresses that they wrote on their page, and kept look-ups of them."""
    kinds = [ClientAnswer.Kind.DETAILS, ClientAnswer.Kind.CONTACT]
    given = ClientAnswer.objects.filter(link__message__client__in=client_ids, kind__in=kinds)
    given.update(given={})
    for view in SavedView.objects.all():
        if named_by.search(unquote_plus(view.query)) or named_by.search(view.name):
            view.delete()


@receiver(messages_taken_back)
def forget_reminders_taken_back(
    *, messages: Sequence[Message], **_signal: object
) -> Callable[[Collection[int]], int]:
    """A reminder that was stopped before it left counts as never sent."""
    return lambda stopped: forget_unsent_reminders(message_ids=stopped)
