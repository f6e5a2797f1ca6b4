"""Put work into the diary, move it, hold it for the weather, call it off, and close it when it is done."""

from collections.abc import Sequence
from datetime import date, datetime
from decimal import Decimal

from django.db import IntegrityError, transaction
from django.urls import reverse

from clients.display import day as written
from clients.messaging.models import MessageText, ToDo
from clients.models import Business, Deck, Property, User
from jobs import diary
from jobs.actions import booking_messages, crew_days, fitting
from jobs.actions.crew_days import BookingError, NoRoomError
from jobs.actions.parts import one_at_a_time
from jobs.after import decks_booked
from jobs.arrival import NOT_SAID, Arrival
from jobs.diary import Placement
from jobs.diary.placing import LEAST_HOURS
from jobs.models import Booking, Crew, Job, Offer, OfferEvent

__all__ = [
    "BookingError", "NoRoomError", "book", "cancel", "change_arrival", "change_notes", "hold", "hold_day",
    "job_logged", "job_removed", "mark_done", "move", "release",
]  # fmt: skip
Purpose = MessageText.Purpose
State = Booking.State


@transaction.atomic
def book(
    *, property: Property, decks: Sequence[Deck], hours: Decimal, first_day: date | None, week: date | None,
    crew: Crew | None, offer: Offer | None, by: User | None, now: datetime, notes: str = "", on_any_day: bool = False,
    arrival: Arrival = NOT_SAID, tells: bool = True,
) -> Booking:  # fmt: skip
    """Put work into the diary from a day on, or somewhere in the week of a day (from tomorrow on).

    `crew` None means the crew that suits best: already in that town, then early. Hours are those of the whole crew
    together. Asked twice for the same, it gives the booking that is there. `on_any_day` books a day on which the crew
    would not go out, by somebody who knows why; `tells` queues the message to the client, with the day for the
    calendar. Raises `NoRoomError` with words for whoever asked.
    """
    business = Business.objects.get()
    if offer:
        offer, hours = Offer.objects.select_for_update().get(pk=offer.pk), max(hours, LEAST_HOURS)
    one_at_a_time(f"booking of property {property.pk}")
    fitting.check_work(property, decks, hours)
    if there := fitting.booked_already(property, decks, offer, first_day, week, arrival):
        return there
    crews = crew_days.lock([crew] if crew else diary.crews_going_out())
    if not crews:
        raise NoRoomError("There is no crew to book. Add one under Diary, Crews.", "crew")
    placement = fitting.find(crews, property, hours, first_day, week, business, business.today(now), on_any_day)
    booking = taken_up_again(offer) or Booking(client_id=property.client_id, property=property, created_by=by)
    booking.offer, booking.notes, booking.hours = offer, notes, hours
    booking.arrives_from, booking.arrives_to = arrival.begins, arrival.ends
    put(booking, placement, why="", now=now)
    booking.decks.set(decks)
    note_on_offer(booking, by, now)
    day_was_found(booking, by, now)
    decks_booked([deck.pk for deck in decks], f"Booked for {written(booking.first_on)}.")
    if tells:
        booking_messages.tell(booking=booking, purpose=Purpose.BOOKED, now=now, by=by)
    return booking


@transaction.atomic
def move(
    *, booking: Booking, first_day: date, crew: Crew | None, why: str, by: User | None, now: datetime,
    hours: Decimal | None = None, arrival: Arrival | None = None, on_any_day: bool = False, tells: bool = True,
) -> Booking:  # fmt: skip
    """Another day; another crew, other hours or time of arrival (None: the same). One that was held stands again.

    Moved to where it is, nothing changes. Raises `NoRoomError`, or `BookingError` if it is done or called off.
    """
    booking, business = held_row(booking), Business.objects.get()
    check_living(booking)
    crew, hours = crew or booking.crew, hours or booking.hours
    arrival = booking.arrival() if arrival is None else arrival
    was = (booking.state, booking.first_on, booking.crew_id, booking.hours)
    if was == (State.BOOKED, first_day, crew.pk, hours):
        return change_arrival(booking=booking, arrival=arrival, by=by, now=now, tells=tells)
    fitting.check_day(first_day, business.today(now))
    news = news_of(booking, first_day, arrival)
    crew = crew_days.lock([crew, booking.crew])[0]
    crew_days.give_back(booking)
    placement = fitting.find_day(
        crews=[crew], day=first_day, hours=hours, property=booking.property, business=business, on_any_day=on_any_day
    )
    booking.hours, booking.arrives_from, booking.arrives_to = hours, arrival.begins, arrival.ends
    put(booking, placement, why=why, now=now)
    decks_booked([deck.pk for deck in booking.decks.all()], f"Booked for {written(booking.first_on)}.")
    if tells and news:
        booking_messages.tell(booking=booking, purpose=news, now=now, by=by)
    return booking


def news_of(booking: Booking, first_day: date, arrival: Arrival) -> str:
    """What a move means for the client: another day, another time on the same day, or nothing."""
    if first_day != booking.first_on:
        return Purpose.MOVED
    return Purpose.BOOKED if booking.state == State.HELD or arrival != booking.arrival() else ""


@transaction.atomic
def change_arrival(
    *, booking: Booking, arrival: Arrival, by: User | None, now: datetime, tells: bool = True
) -> Booking:
    """When the crew comes on its days; of a booking held for the weather the client hears when it stands again."""
    booking = held_row(booking)
    check_living(booking)
    if arrival == booking.arrival():
        return booking
    booking.arrives_from, booking.arrives_to = arrival.begins, arrival.ends
    change(booking, booking.state, booking.why, now)
    if tells and booking.state == State.BOOKED:
        booking_messages.tell(booking=booking, purpose=Purpose.BOOKED, now=now, by=by)
    return booking


@transaction.atomic
def hold(*, booking: Booking, why: str, by: User | None, now: datetime, tells: bool = True) -> Booking:
    """The weather may not allow it: the day stays taken until the booking is released or moved."""
    booking = held_row(booking)
    check_living(booking)
    if booking.state == State.HELD:
        return booking
    change(booking, State.HELD, why, now)
    if tells:
        booking_messages.tell(booking=booking, purpose=Purpose.HELD, now=now, by=by)
    return booking


@transaction.atomic
def hold_day(
    *, day: date, crew: Crew | None, why: str, by: User | None, now: datetime, tells: bool = True
) -> list[Booking]:
    """Every booking of a crew, or of all, that has work on that day; those that were not held before."""
    rows = Booking.objects.filter(state=State.BOOKED, days__crew_day__day=day).order_by("pk").distinct()
    if crew:
        rows = rows.filter(crew=crew)
    return [hold(booking=booking, why=why, by=by, now=now, tells=tells) for booking in rows]


@transaction.atomic
def release(*, booking: Booking, by: User | None, now: datetime, tells: bool = True) -> Booking:
    """The booking stands as it was before it was held."""
    booking = held_row(booking)
    if booking.state == State.BOOKED:
        return booking
    if booking.state != State.HELD:
        raise BookingError(f"The booking is {booking.get_state_display().lower()}.")
    if booking.is_over(today=Business.objects.get().today(now)):
        raise BookingError("The day is over. Move the booking to another day instead.", "first_day")
    change(booking, State.BOOKED, "", now)
    if tells:
        booking_messages.tell(booking=booking, purpose=Purpose.BOOKED, now=now, by=by)
    return booking


@transaction.atomic
def cancel(*, booking: Booking, why: str, by: User | None, now: datetime, tells: bool = True) -> Booking:
    """Call the booking off; its hours are free again."""
    booking = held_row(booking)
    if booking.state == State.CANCELLED:
        return booking
    check_living(booking)
    crew_days.lock([booking.crew])
    crew_days.give_back(booking)
    change(booking, State.CANCELLED, why, now)
    ask_for_a_day(booking, now)
    if tells:
        booking_messages.tell(booking=booking, purpose=Purpose.CALLED_OFF, now=now, by=by)
    return booking


@transaction.atomic
def change_notes(*, booking: Booking, notes: str) -> Booking:
    """What the crew should know; no change that a calendar or the client needs to hear of."""
    booking = held_row(booking)
    booking.notes = notes.strip()
    booking.save(update_fields=["notes"])
    return booking


@transaction.atomic
def mark_done(*, booking: Booking, jobs: Sequence[Job], now: datetime) -> Booking:
    """These jobs were logged from it; it is done when each of its decks has one. Other hours stay as they were."""
    booking = held_row(booking)
    booking.jobs.add(*jobs)
    logged = set(booking.jobs.values_list("deck_id", flat=True))
    if booking.state in fitting.LIVING and logged >= {deck.pk for deck in booking.decks.all()}:
        change(booking, State.DONE, "", now)
    return booking


def job_logged(*, job: Job, booking: Booking | None, now: datetime) -> Booking | None:
    """Close the booking that a job was done for; without one, after a coat, the deck's that had begun by that day."""
    booking = booking or booking_of(job)
    return mark_done(booking=booking, jobs=[job], now=now) if booking else None


def booking_of(job: Job) -> Booking | None:
    if job.kind not in {Job.Kind.STRIP, Job.Kind.RECOAT}:
        return None
    living = Booking.objects.filter(state__in=fitting.LIVING, decks=job.deck_id, first_on__lte=job.finished_on)
    return living.order_by("-first_on").first()


def job_removed(*, job: Job, now: datetime) -> None:
    """Its booking is not done after all."""
    for booking in job.bookings.filter(state=State.DONE):
        change(held_row(booking), State.BOOKED, "", now)


def held_row(booking: Booking) -> Booking:
    """The row as it is now, kept from others until this transaction ends.

    Without joins: PostgreSQL looks at a row that changed while we waited once more, but at the old rows it was joined
    to, so a booking whose crew was changed in the meantime would not be found.
    """
    return Booking.objects.select_for_update().get(pk=booking.pk)


def check_living(booking: Booking) -> None:
    if booking.state not in fitting.LIVING:
        raise BookingError(f"The booking is {booking.get_state_display().lower()} and can no longer be changed.")


def taken_up_again(offer: Offer | None) -> Booking | None:
    """The cancelled booking of this offer: the same booking, so the same entry in the client's calendar."""
    there = Booking.objects.select_for_update().filter(offer=offer).first() if offer else None
    if there and there.state != State.CANCELLED:
        raise NoRoomError(f"Offer {offer.reference if offer else ''} is booked for {written(there.first_on)} already.")
    return there


def put(booking: Booking, placement: Placement, *, why: str, now: datetime) -> None:
    """Give it this crew and these days."""
    booking.crew, booking.first_on, booking.last_on = placement.crew, placement.first_on, placement.last_on
    change(booking, State.BOOKED, why, now)
    try:
        with transaction.atomic():
            crew_days.take(booking, placement)
    except IntegrityError as error:  # crew_day_not_overbooked, should anything have passed by the lock
        raise NoRoomError("This day was filled a moment ago. Choose another.", "first_day") from error


def change(booking: Booking, state: str, why: str, now: datetime) -> None:
    """Save it; each change after the first counts one up, so that calendars know the newest (RFC 5546, 2.1.4)."""
    if booking.pk:
        booking.sequence += 1
    booking.state, booking.why, booking.changed_at = state, why, now
    booking.save()


def ask_for_a_day(booking: Booking, now: datetime) -> None:
    """An accepted offer whose booking was called off needs another day, or an end; somebody has to settle which."""
    if booking.offer and booking.offer.state == Offer.State.ACCEPTED:
        words = f"{booking.client}: the booking of offer {booking.offer.reference} was called off. Find another day?"
        ToDo.objects.create(
            kind=ToDo.Kind.BOOK, key=f"book/{booking.uid}/{booking.sequence}", client=booking.client, words=words,
            url=reverse("diary:booking", args=[booking.pk]), made_at=now,
        )  # fmt: skip


def day_was_found(booking: Booking, by: User | None, now: datetime) -> None:
    asked = ToDo.objects.filter(key__startswith=f"book/{booking.uid}/", done_at=None)
    asked.update(done_at=now, done_by=by)


def note_on_offer(booking: Booking, by: User | None, now: datetime) -> None:
    if booking.offer:
        words = f"{written(booking.first_on)}, {booking.crew}"
        OfferEvent.objects.create(offer=booking.offer, at=now, kind=OfferEvent.Kind.BOOKED, note=words, by=by)
