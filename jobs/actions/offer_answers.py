"""What a client does with an offer by its link: accept it for a week, decline it, ask about it.

Every answer is one guarded UPDATE of the offer, so that it counts once however often it is sent and
whoever sends it.
"""

from datetime import date, datetime

from django.db import transaction
from django.utils.translation import gettext_lazy as _

from clients import display
from clients.actions.saving import lock_until_commit
from clients.events import offer_answered, work_decided
from clients.messaging.actions.to_dos import add_to_do
from clients.messaging.models import ToDo
from clients.models import Business
from jobs import diary
from jobs.actions.booking_inputs import NewBooking
from jobs.actions.bookings import book_work, cancel_booking, settle_rebooking_to_dos
from jobs.actions.offers import record_offer_event
from jobs.actions.placement import OPEN_BOOKING_STATES
from jobs.models import Booking, Offer, OfferEvent
from jobs.offers import is_offer_bookable, offer_withdrawal_right

State = Offer.State
Event = OfferEvent.Kind
MAX_OPEN_QUESTIONS = 10  # that wait for an answer; a link that got about cannot fill the book


CLOSED_OFFER_MESSAGES = {
    State.ACCEPTED: _("This offer can no longer be answered: it was accepted."),
    State.DECLINED: _("This offer can no longer be answered: it was declined."),
    State.WITHDRAWN: _("This offer can no longer be answered: it was withdrawn."),
    State.REPLACED: _(
        "This offer can no longer be answered: a newer revision has taken its place."
    ),
}


ASKED_EARLY = (
    "Asked to begin before the time to withdraw is over, knowing that the right ends once all the"
    " work is done."
)


class AnswerError(ValueError):
    """The offer cannot be answered like this;
    the message tells the client why and what to do, in their language."""


@transaction.atomic
def accept_offer(
    *,
    token_hash: str,
    name: str,
    now: datetime,
    week: date | None = None,
    asks_early: bool = False,
) -> Offer:
    """Accept an open offer for the week of that Monday and book the work into it, both or neither;
    a change order has no week of its own, the work is booked already.
    `asks_early`: the client asks in so many words that work begins while they may still withdraw.

    Sent again it changes nothing. Raises `jobs.actions.bookings.NoRoomError` if the week filled up
    meanwhile (the offer stays open), `AnswerError` if it can no longer be accepted.
    """
    found = sent_offer_by_token_hash(token_hash)
    lock_until_commit(
        f"booking of property {found.site_id}"
    )  # as `book` does, in the order it needs
    if found.original or week is None:
        return accept_change_order(found, name, now)
    monday = diary.monday_of(week)
    if not record_answer(found, State.ACCEPTED, name, now, accepted_week=monday):
        return require_same_answer(found, State.ACCEPTED)
    words = (
        f"{name.strip()} accepted offer {found.reference} for the week of"
        f" {display.format_day(monday)}."
    )
    asked = " " + ASKED_EARLY if asks_early else ""
    record_offer_event(found, Event.ACCEPTED, now=now, words=f"{words}{asked}")
    book_accepted_week(found, monday, words, now)
    return found


def accept_change_order(offer: Offer, name: str, now: datetime) -> Offer:
    """It goes with the visit of the offer that it changes; a person looks whether the day still has
    room."""
    if not offer.original:
        raise AnswerError(_("Choose a week."))
    if not record_answer(offer, State.ACCEPTED, name, now):
        return require_same_answer(offer, State.ACCEPTED)
    more = f" It takes {offer.hours.normalize():f} more hours: look at the day." * bool(offer.hours)
    with display.in_staff_language():
        words = f"{name.strip()} accepted {offer.title}.{more}"
    record_offer_event(offer, Event.ACCEPTED, now=now, words=words)
    add_offer_to_do(offer, ToDo.Kind.ANSWER, "accepted", words, now)
    return offer


def book_accepted_week(offer: Offer, monday: date, words: str, now: datetime) -> None:
    """Book it into the week, or leave that to a person; either way somebody is told.
    Raises `NoRoomError`."""
    if not is_offer_bookable(offer):
        add_offer_to_do(offer, ToDo.Kind.BOOK, "accepted", f"{words} It needs a day.", now)
        return
    work = NewBooking(
        site=offer.site,
        decks=[scope.deck for scope in offer.scopes.select_related("deck")],
        hours=offer.hours,
        week=monday,
        offer=offer,
    )
    book_work(work=work, by=None, now=now)
    add_offer_to_do(offer, ToDo.Kind.ANSWER, "accepted", words, now)


@transaction.atomic
def decline_offer(*, token_hash: str, reason: str, words: str, name: str, now: datetime) -> Offer:
    """Decline an open offer with a reason; reminders about its decks end.
    Sent again it changes nothing."""
    found = sent_offer_by_token_hash(token_hash)
    if not record_answer(
        found, State.DECLINED, name, now, decline_reason=reason, decline_words=words.strip()
    ):
        return require_same_answer(found, State.DECLINED)
    why = Offer.Decline(reason).label
    said = f"Offer {found.reference} declined: {why}."
    record_offer_event(found, Event.DECLINED, now=now, words=f"{why}. {words}".strip())
    declined = [scope.deck_id for scope in found.scopes.all()]
    work_decided.send(Offer, deck_ids=declined, is_wanted=False, words=said, now=now)
    add_offer_to_do(
        found, ToDo.Kind.ANSWER, "declined", f"{found.client.name}: {said} {words}", now
    )
    return found


@transaction.atomic
def rescind_acceptance(*, token_hash: str, name: str, now: datetime) -> Offer:
    """Withdraw from the contract in the days that the law gives: the visit is cancelled, and a
    person is told. Sent again it changes nothing. Raises `AnswerError`."""
    found = sent_offer_by_token_hash(token_hash)
    lock_until_commit(f"booking of property {found.site_id}")
    found = Offer.objects.select_for_update(of=("self",)).get(pk=found.pk)
    if found.events.filter(kind=Event.RESCINDED).exists():
        return found
    if not is_rescindable(found, today=Business.objects.get().today(now)):
        raise AnswerError(_("The time to withdraw is over. Please phone us."))
    found.state = State.DECLINED
    found.decline_reason = Offer.Decline.OTHER
    found.decline_words = RESCINDED
    found.answered_at = now
    found.answered_by = name.strip()[:200]
    found.save()
    said = f"{found.answered_by} withdrew from the contract of offer {found.reference}."
    record_offer_event(found, Event.RESCINDED, now=now, words=said)
    cancel_rescinded_visit(found, now)
    decks = [scope.deck_id for scope in found.scopes.all()]
    work_decided.send(Offer, deck_ids=decks, is_wanted=False, words=said, now=now)
    words = f"{said} {after_rescinding(found, now)}"
    add_offer_to_do(found, ToDo.Kind.ANSWER, "rescinded", words, now)
    return found


def after_rescinding(offer: Offer, now: datetime) -> str:
    """What is left to do for us."""
    right = offer_withdrawal_right(offer, today=Business.objects.get().today(now))
    within = f" within {right.refund_days} days" if right else ""
    return f"Confirm it to them in writing, and pay back what they paid{within}."


RESCINDED = "Withdrew from the contract."


def is_rescindable(offer: Offer, *, today: date) -> bool:
    """Whether the client may still withdraw: in time, and the work is not done. A right to cancel
    outlives the work."""
    right = offer_withdrawal_right(offer, today=today)
    if right is None or offer.state != State.ACCEPTED or offer.answered_at is None:
        return False
    accepted_on = Business.objects.get().today(offer.answered_at)
    if today > right.last_day(accepted_on):
        return False
    done = Booking.objects.filter(offer=offer, state=Booking.State.DONE)
    return right.is_cancellation or not done.exists()


def cancel_rescinded_visit(offer: Offer, now: datetime) -> None:
    """The client is told by the message that a visit is cancelled."""
    for booking in Booking.objects.filter(offer=offer, state__in=OPEN_BOOKING_STATES):
        cancel_booking(booking=booking, why=RESCINDED, by=None, now=now)
        settle_rebooking_to_dos(booking, None, now)


@transaction.atomic
def ask_question(*, token_hash: str, words: str, now: datetime) -> OfferEvent:
    """Keep a question and put it before a person.
    The same words again, before an answer, are the same question."""
    found = Offer.objects.select_for_update(of=("self",)).get(
        pk=sent_offer_by_token_hash(token_hash).pk
    )
    waiting = open_questions(found)
    if same := next((event for event in waiting if event.note == words.strip()), None):
        return same
    if len(waiting) >= MAX_OPEN_QUESTIONS:
        raise AnswerError(
            _("Some of your questions still wait for our answer. Please phone us instead.")
        )
    asked = record_offer_event(found, Event.ASKED, now=now, words=words.strip())
    add_offer_to_do(
        found,
        ToDo.Kind.QUESTION,
        str(asked.pk),
        f"{found.client.name} about offer {found.reference}: {words}",
        now,
    )
    return asked


def sent_offer_by_token_hash(token_hash: str) -> Offer:
    found = (
        Offer.objects.select_related("client", "site", "original")
        .filter(token_hash=token_hash)
        .first()
    )
    if found is None or found.state == State.DRAFT:
        raise AnswerError(_("This link leads to no offer. Use the whole link from our message."))
    return found


def record_answer(offer: Offer, state: str, name: str, now: datetime, **values: object) -> bool:
    """The one statement that decides whether this answer counts."""
    today = Business.objects.get().today(now)
    still_open = Offer.objects.filter(pk=offer.pk, state=State.OPEN, valid_until__gte=today)
    values |= {"state": state, "answered_at": now, "answered_by": name.strip()[:200]}
    counts = bool(still_open.update(**values))
    offer.refresh_from_db(fields=["state", *values])
    if counts:
        offer_answered.send(Offer, offer_id=offer.pk, now=now)
    return counts


def require_same_answer(offer: Offer, state: str) -> Offer:
    """The offer, if the same was answered before;
    raises `AnswerError` if it cannot be answered so any more."""
    if offer.state == state:
        return offer
    raise AnswerError(
        CLOSED_OFFER_MESSAGES.get(State(offer.state), _("This offer can no longer be answered."))
    )


def open_questions(offer: Offer) -> list[OfferEvent]:
    """Questions since the last answer."""
    talk = offer.events.filter(kind__in=[Event.ASKED, Event.ANSWERED])
    last = talk.filter(kind=Event.ANSWERED).order_by("-id").first()
    return list(talk.filter(kind=Event.ASKED, id__gt=last.pk if last else 0))


def add_offer_to_do(offer: Offer, kind: str, matter: str, words: str, now: datetime) -> None:
    """Put it before a person, once a matter."""
    to_do = ToDo(
        kind=kind,
        key=f"offer/{offer.pk}/{matter}",
        client=offer.client,
        words=" ".join(words.split()),
        url=f"/offers/{offer.pk}/",
    )
    add_to_do(matter=to_do, now=now)
