"""Put work into the diary, move it, hold it for the weather, call it off, and close it when it is
done."""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from decimal import Decimal

from django.db import IntegrityError, transaction
from django.urls import reverse

from clients.actions.saving import lock_until_commit
from clients.display import format_day as written
from clients.events import work_decided
from clients.messaging.actions.to_dos import add_to_do
from clients.messaging.models import MessageText, ToDo
from clients.models import Business, Deck, User
from jobs import diary
from jobs.actions import booking_messages, crew_days
from jobs.actions import placement as fitting
from jobs.actions.booking_inputs import BookingMove, NewBooking
from jobs.actions.crew_days import BookingError, NoRoomError
from jobs.actions.offer_withdrawal import withdraw_offers_about_decks
from jobs.arrival import Arrival
from jobs.diary import MIN_BOOKING_HOURS, Placement
from jobs.models import Booking, Crew, Job, Offer, OfferEvent

__all__ = [
    "BookingError",
    "BookingMove",
    "NewBooking",
    "NoRoomError",
    "WeatherDay",
    "book_work",
    "cancel_booking",
    "change_booking_arrival",
    "change_booking_notes",
    "close_booking_of_job",
    "hold_booking",
    "hold_bookings_of_day",
    "move_booking",
    "record_booking_jobs",
    "release_booking",
    "reopen_bookings_of_job",
    "tell_client_of_booking",
]
Purpose = MessageText.Purpose
State = Booking.State


@transaction.atomic
def book_work(
    *, work: NewBooking, by: User | None, now: datetime, notify_client: bool = True
) -> Booking:
    """Put work into the diary from a day on, or somewhere in the week of a day (from tomorrow on).

    Asked twice for the same, it gives the booking that is there. `notify_client` queues the message
    to the client, with the day for the calendar. Raises `NoRoomError` with words for whoever asked.
    """
    business = Business.objects.get()
    if work.offer:
        offer = Offer.objects.select_for_update().get(pk=work.offer.pk)
        work = replace(work, offer=offer, hours=max(work.hours, MIN_BOOKING_HOURS))
    lock_until_commit(f"booking of property {work.site.pk}")
    fitting.check_bookable_work(work)
    if there := fitting.existing_booking(work):
        return there
    crews = crew_days.lock_crews([work.crew] if work.crew else diary.active_crews())
    if not crews:
        raise NoRoomError("There is no crew to book. Add one under Diary, Crews.", "crew")
    placement = fitting.find_placement(crews, work, business, business.today(now))
    booking = write_booking(work, placement, by=by, now=now)
    record_booking_on_offer(booking, by, now)
    settle_rebooking_to_dos(booking, by, now)
    follow_booking(booking, work.decks, now)
    if notify_client:
        booking_messages.notify_client_of_booking(
            booking=booking, purpose=Purpose.BOOKED, now=now, by=by
        )
    return booking


def write_booking(
    work: NewBooking, placement: Placement, *, by: User | None, now: datetime
) -> Booking:
    """The row with its crew, days and decks."""
    booking = reusable_booking(work.offer) or Booking(
        client_id=work.site.client_id, site=work.site, created_by=by
    )
    booking.offer = work.offer
    booking.notes = work.notes
    booking.hours = work.hours
    booking.arrives_from = work.arrival.begins
    booking.arrives_to = work.arrival.ends
    assign_booking_days(booking, placement, why="", now=now)
    booking.decks.set(work.decks)
    return booking


def follow_booking(booking: Booking, decks: Iterable[Deck], now: datetime) -> None:
    """After work was booked or moved: offers about its decks end, apps above follow."""
    deck_ids = [deck.pk for deck in decks]
    words = f"Booked for {written(booking.first_on)}."
    withdraw_offers_about_decks(deck_ids=deck_ids, history_note=words, now=now)
    work_decided.send(Booking, deck_ids=deck_ids, is_wanted=True, words=words, now=now)


@transaction.atomic
def move_booking(
    *,
    booking: Booking,
    move: BookingMove,
    by: User | None,
    now: datetime,
    notify_client: bool = True,
) -> Booking:
    """Another day; another crew, other hours or time of arrival. One that was held is booked again.

    Moved to where it is, nothing changes. Raises `NoRoomError`, or `BookingError` if it is done or
    called off.
    """
    booking = lock_booking(booking)
    business = Business.objects.get()
    require_open_booking(booking)
    first_day = move.first_day
    crew = move.crew or booking.crew
    hours = move.hours or booking.hours
    arrival = booking.arrival() if move.arrival is None else move.arrival
    was = (booking.state, booking.first_on, booking.crew_id, booking.hours)
    if was == (State.BOOKED, first_day, crew.pk, hours):
        return change_booking_arrival(
            booking=booking, arrival=arrival, by=by, now=now, notify_client=notify_client
        )
    fitting.check_bookable_day(first_day, business.today(now))
    news = purpose_of_move(booking, first_day, arrival)
    placement = free_and_find_placement(booking, move, crew, hours, business)
    booking.hours = hours
    booking.arrives_from = arrival.begins
    booking.arrives_to = arrival.ends
    assign_booking_days(booking, placement, why=move.why, now=now)
    follow_booking(booking, booking.decks.all(), now)
    if notify_client and news:
        booking_messages.notify_client_of_booking(booking=booking, purpose=news, now=now, by=by)
    return booking


def free_and_find_placement(
    booking: Booking, move: BookingMove, crew: Crew, hours: Decimal, business: Business
) -> Placement:
    """Free the hours it has, and find those it moves to; both crews stay locked."""
    locked = crew_days.lock_crews([crew, booking.crew])[0]
    crew_days.free_crew_hours(booking)
    return fitting.find_placement_on_day(
        crews=[locked],
        day=move.first_day,
        hours=hours,
        site=booking.site,
        business=business,
        on_any_day=move.on_any_day,
    )


def purpose_of_move(booking: Booking, first_day: date, arrival: Arrival) -> str:
    """What a move means for the client: another day, another time on the same day, or nothing."""
    if first_day != booking.first_on:
        return Purpose.MOVED
    return Purpose.BOOKED if booking.state == State.HELD or arrival != booking.arrival() else ""


@transaction.atomic
def change_booking_arrival(
    *,
    booking: Booking,
    arrival: Arrival,
    by: User | None,
    now: datetime,
    notify_client: bool = True,
) -> Booking:
    """When the crew comes on its days; of a booking held for the weather the client hears when it
    stands again."""
    booking = lock_booking(booking)
    require_open_booking(booking)
    if arrival == booking.arrival():
        return booking
    booking.arrives_from = arrival.begins
    booking.arrives_to = arrival.ends
    save_booking_state(booking, booking.state, booking.why, now)
    if notify_client and booking.state == State.BOOKED:
        booking_messages.notify_client_of_booking(
            booking=booking, purpose=Purpose.BOOKED, now=now, by=by
        )
    return booking


@transaction.atomic
def hold_booking(
    *, booking: Booking, why: str, by: User | None, now: datetime, notify_client: bool = True
) -> Booking:
    """The weather may not allow it: the day stays taken until the booking is released or moved."""
    booking = lock_booking(booking)
    require_open_booking(booking)
    if booking.state == State.HELD:
        return booking
    save_booking_state(booking, State.HELD, why, now)
    if notify_client:
        booking_messages.notify_client_of_booking(
            booking=booking, purpose=Purpose.HELD, now=now, by=by
        )
    return booking


@dataclass(frozen=True)
class WeatherDay:
    """A day on which a crew, or everybody, stays at home, and why."""

    day: date
    crew: Crew | None = None
    why: str = ""


@transaction.atomic
def hold_bookings_of_day(
    *,
    weather: WeatherDay,
    by: User | None,
    now: datetime,
    notify_client: bool = True,
    untold: Collection[int] = (),
) -> list[Booking]:
    """Every booking with work on that day; those that were not held before.
    The clients of the bookings in `untold` get no message."""
    rows = (
        Booking.objects.filter(state=State.BOOKED, days__crew_day__day=weather.day)
        .order_by("pk")
        .distinct()
    )
    if weather.crew:
        rows = rows.filter(crew=weather.crew)
    return [
        hold_booking(
            booking=booking,
            why=weather.why,
            by=by,
            now=now,
            notify_client=notify_client and booking.pk not in untold,
        )
        for booking in rows
    ]


@transaction.atomic
def release_booking(
    *, booking: Booking, by: User | None, now: datetime, notify_client: bool = True
) -> Booking:
    """The booking stands as it was before it was held."""
    booking = lock_booking(booking)
    if booking.state == State.BOOKED:
        return booking
    if booking.state != State.HELD:
        raise BookingError(f"The booking is {booking.get_state_display().lower()}.")
    if booking.is_over(today=Business.objects.get().today(now)):
        raise BookingError("The day is over. Move the booking to another day instead.", "first_day")
    save_booking_state(booking, State.BOOKED, "", now)
    if notify_client:
        booking_messages.notify_client_of_booking(
            booking=booking, purpose=Purpose.BOOKED, now=now, by=by
        )
    return booking


@transaction.atomic
def cancel_booking(
    *, booking: Booking, why: str, by: User | None, now: datetime, notify_client: bool = True
) -> Booking:
    """Call the booking off; its hours are free again."""
    booking = lock_booking(booking)
    if booking.state == State.CANCELLED:
        return booking
    require_open_booking(booking)
    crew_days.lock_crews([booking.crew])
    crew_days.free_crew_hours(booking)
    save_booking_state(booking, State.CANCELLED, why, now)
    add_rebooking_to_do(booking, now)
    if notify_client:
        booking_messages.notify_client_of_booking(
            booking=booking, purpose=Purpose.CALLED_OFF, now=now, by=by
        )
    return booking


PURPOSE_OF_STATE = {
    State.BOOKED: Purpose.MOVED,  # "booked" to whoever has heard of no other day
    State.HELD: Purpose.HELD,
    State.CANCELLED: Purpose.CALLED_OFF,
}


@transaction.atomic
def tell_client_of_booking(*, booking: Booking, by: User | None, now: datetime) -> Booking:
    """Tell the client how the booking is now, as nobody did or it was taken back.
    Raises `BookingError` for one that is done."""
    booking = lock_booking(booking)
    if booking.state not in PURPOSE_OF_STATE:
        raise BookingError("The work is done: there is nothing to tell.")
    save_booking_state(booking, booking.state, booking.why, now)
    booking_messages.notify_client_of_booking(
        booking=booking, purpose=PURPOSE_OF_STATE[State(booking.state)], now=now, by=by
    )
    return booking


@transaction.atomic
def change_booking_notes(*, booking: Booking, notes: str) -> Booking:
    """What the crew should know; no change that a calendar or the client needs to hear of."""
    booking = lock_booking(booking)
    booking.notes = notes.strip()
    booking.save(update_fields=["notes"])
    return booking


@transaction.atomic
def record_booking_jobs(*, booking: Booking, jobs: Sequence[Job], now: datetime) -> Booking:
    """These jobs were logged from it; it is done when each of its decks has one.
    Other hours stay as they were."""
    booking = lock_booking(booking)
    booking.jobs.add(*jobs)
    logged = set(booking.jobs.values_list("deck_id", flat=True))
    if booking.state in fitting.OPEN_BOOKING_STATES and logged >= {
        deck.pk for deck in booking.decks.all()
    }:
        save_booking_state(booking, State.DONE, "", now)
    return booking


def close_booking_of_job(*, job: Job, booking: Booking | None, now: datetime) -> Booking | None:
    """Close the booking that a job was done for;
    without one, after a coat, the deck's that had surely begun by that day."""
    booking = booking or open_booking_for_job(job)
    return record_booking_jobs(booking=booking, jobs=[job], now=now) if booking else None


def open_booking_for_job(job: Job) -> Booking | None:
    if job.kind not in {Job.Kind.STRIP, Job.Kind.RECOAT}:
        return None
    living = Booking.objects.filter(
        state__in=fitting.OPEN_BOOKING_STATES, decks=job.deck_id, first_on__lte=job.span.first
    )
    return living.order_by("-first_on").first()


def reopen_bookings_of_job(*, job: Job, now: datetime) -> None:
    """Its booking is not done after all."""
    for booking in job.bookings.filter(state=State.DONE):
        save_booking_state(lock_booking(booking), State.BOOKED, "", now)


def lock_booking(booking: Booking) -> Booking:
    """The row as it is now, kept from others until this transaction ends.

    Without joins: PostgreSQL looks at a row that changed while we waited once more, but at the old
    rows it was joined to, so a booking whose crew was changed in the meantime would not be found.
    """
    return Booking.objects.select_for_update().get(pk=booking.pk)


def require_open_booking(booking: Booking) -> None:
    if booking.state not in fitting.OPEN_BOOKING_STATES:
        raise BookingError(
            f"The booking is {booking.get_state_display().lower()} and can no longer be changed."
        )


def reusable_booking(offer: Offer | None) -> Booking | None:
    """The cancelled booking of this offer:
    the same booking, so the same entry in the client's calendar."""
    there = Booking.objects.select_for_update().filter(offer=offer).first() if offer else None
    if there and there.state != State.CANCELLED:
        raise NoRoomError(
            f"Offer {offer.reference if offer else ''} is booked for {written(there.first_on)}"
            " already."
        )
    return there


def assign_booking_days(booking: Booking, placement: Placement, *, why: str, now: datetime) -> None:
    """Give it this crew and these days."""
    booking.crew = placement.crew
    booking.first_on = placement.first_on
    booking.last_on = placement.last_on
    save_booking_state(booking, State.BOOKED, why, now)
    try:
        with transaction.atomic():
            crew_days.take_crew_hours(booking, placement)
    except (
        IntegrityError
    ) as error:  # crew_day_not_overbooked, should anything have passed by the lock
        raise NoRoomError(
            "This day was filled a moment ago. Choose another.", "first_day"
        ) from error


def save_booking_state(booking: Booking, state: str, why: str, now: datetime) -> None:
    """Save it; each change after the first counts one up, so that calendars know the newest (RFC
    5546, 2.1.4)."""
    if booking.pk:
        booking.sequence += 1
    booking.state = state
    booking.why = why
    booking.changed_at = now
    booking.save()


def add_rebooking_to_do(booking: Booking, now: datetime) -> None:
    """An accepted offer whose booking was called off needs another day, or an end;
    somebody has to settle which."""
    if booking.offer and booking.offer.state == Offer.State.ACCEPTED:
        words = (
            f"{booking.client}: the booking of offer {booking.offer.reference} was cancelled. Find"
            " another day?"
        )
        matter = ToDo(
            kind=ToDo.Kind.BOOK,
            key=f"book/{booking.uid}/{booking.sequence}",
            client=booking.client,
            words=words,
            url=reverse("diary:booking", args=[booking.pk]),
        )
        add_to_do(matter=matter, now=now)


def settle_rebooking_to_dos(booking: Booking, by: User | None, now: datetime) -> None:
    asked = ToDo.objects.filter(key__startswith=f"book/{booking.uid}/", done_at=None)
    asked.update(done_at=now, done_by=by)


def record_booking_on_offer(booking: Booking, by: User | None, now: datetime) -> None:
    if booking.offer:
        words = f"{written(booking.first_on)}, {booking.crew}"
        OfferEvent.objects.create(
            offer=booking.offer, at=now, kind=OfferEvent.Kind.BOOKED, note=words, by=by
        )
