"""Put work into the diary, move it, hold it for the weather, call it off, and close it when it is done."""

from collections.abc import Sequence
from datetime import date, datetime
from decimal import Decimal

from django.db import IntegrityError, transaction

from clients.display import day as written
from clients.models import Business, Deck, Property, User
from jobs import diary
from jobs.actions import crew_days
from jobs.actions.crew_days import BookingError, NoRoomError
from jobs.actions.parts import one_at_a_time
from jobs.after import decks_booked
from jobs.diary import Placement
from jobs.models import Booking, Crew, Offer, OfferEvent

__all__ = ["BookingError", "NoRoomError", "book"]
LIVING = [Booking.State.BOOKED, Booking.State.HELD]


@transaction.atomic
def book(
    *, property: Property, decks: Sequence[Deck], hours: Decimal, first_day: date | None, week: date | None,
    crew: Crew | None, offer: Offer | None, by: User | None, now: datetime, notes: str = "", on_any_day: bool = False,
) -> Booking:  # fmt: skip
    """Put work into the diary from a day on, or somewhere in the week of a day (from tomorrow on).

    `crew` None means the crew that suits best: already in that town, then early. Hours are those of the whole crew
    together. Asked twice for the same, it gives the booking that is there. `on_any_day` books a day on which the crew
    would not go out, by somebody who knows why. Raises `NoRoomError` with words for whoever asked.
    """
    business = Business.objects.get()
    if offer:
        offer = Offer.objects.select_for_update().get(pk=offer.pk)
    one_at_a_time(f"booking of property {property.pk}")
    check_work(property, decks, hours)
    if there := booked_already(property, decks, offer, first_day, week):
        return there
    crews = crew_days.lock([crew] if crew else diary.crews_going_out())
    if not crews:
        raise NoRoomError("There is no crew to book. Add one under Diary, Crews.", "crew")
    placement = find(crews, property, hours, first_day, week, business, business.today(now), on_any_day)
    booking = taken_up_again(offer) or Booking(client_id=property.client_id, property=property, created_by=by)
    booking.offer, booking.notes, booking.hours, booking.why = offer, notes, hours, ""
    put(booking, placement, now)
    booking.decks.set(decks)
    note_on_offer(booking, by, now)
    decks_booked([deck.pk for deck in decks], f"Booked for {written(booking.first_on)}.")
    return booking


def check_work(property: Property, decks: Sequence[Deck], hours: Decimal) -> None:
    if hours <= 0:
        raise NoRoomError("Say how many hours the work takes.", "hours")
    if not decks:
        raise NoRoomError("Choose at least one deck.", "decks")
    if stranger := next((deck for deck in decks if deck.property_id != property.pk), None):
        raise NoRoomError(f"{stranger} does not stand at {property}.", "decks")
    if property.client.archived_at or any(deck.archived_at for deck in decks):
        raise NoRoomError("The client or a deck is archived. Bring it back from the archive first.", "decks")


def booked_already(
    property: Property, decks: Sequence[Deck], offer: Offer | None, first_day: date | None, week: date | None
) -> Booking | None:
    """The booking that does just this, from a second click; raises `NoRoomError` if a deck is booked otherwise."""
    living = Booking.objects.filter(property=property, state__in=LIVING, decks__in=decks).distinct()
    for there in living.prefetch_related("decks"):
        is_same_work = there.offer == offer and {*there.decks.all()} == {*decks}
        is_same_time = there.first_on == first_day if first_day else is_in_week(there.first_on, week)
        if is_same_work and is_same_time:
            return there
        shared = next(deck for deck in decks if deck in there.decks.all())
        raise NoRoomError(
            f"{shared} is booked for {written(there.first_on)} already. Move that visit instead.", "decks"
        )
    return None


def is_in_week(day: date, week: date | None) -> bool:
    return week is not None and diary.monday_of(day) == diary.monday_of(week)


def find(
    crews: Sequence[Crew], property: Property, hours: Decimal, first_day: date | None, week: date | None,
    business: Business, today: date, on_any_day: bool,
) -> Placement:  # fmt: skip
    if first_day is None:
        if week is None:
            raise NoRoomError("Choose a day or a week.", "first_day")
        return crew_days.find_week(
            crews=crews, week=week, today=today, hours=hours, property=property, business=business
        )
    check_day(first_day, today)
    return crew_days.find_day(
        crews=crews, day=first_day, hours=hours, property=property, business=business, on_any_day=on_any_day
    )


def check_day(day: date, today: date) -> None:
    if day < today:
        raise NoRoomError(f"{written(day)} is over. Choose a day from today on.", "first_day")
    if day.year > today.year + 3:
        raise NoRoomError("This day is more than three years ahead. Check the year.", "first_day")


def taken_up_again(offer: Offer | None) -> Booking | None:
    """The cancelled booking of this offer: the same visit, so the same entry in the client's calendar."""
    there = Booking.objects.select_for_update().filter(offer=offer).first() if offer else None
    if there and there.state == Booking.State.DONE:
        raise NoRoomError(f"The work of offer {offer.reference if offer else ''} is done already.")
    return there


def put(booking: Booking, placement: Placement, now: datetime) -> None:
    """Give it this crew and these days; a change after the first counts one up (RFC 5546, 2.1.4)."""
    if booking.pk:
        crew_days.give_back(booking)
        booking.sequence += 1
    booking.crew, booking.state = placement.crew, Booking.State.BOOKED
    booking.first_on, booking.last_on = placement.first_on, placement.last_on
    booking.changed_at = now
    booking.save()
    try:
        with transaction.atomic():
            crew_days.take(booking, placement)
    except IntegrityError as error:  # crew_day_not_overbooked, should anything have passed by the lock
        raise NoRoomError("This day was filled a moment ago. Choose another.", "first_day") from error


def note_on_offer(booking: Booking, by: User | None, now: datetime) -> None:
    if booking.offer:
        words = f"{written(booking.first_on)}, {booking.crew}"
        OfferEvent.objects.create(offer=booking.offer, at=now, kind=OfferEvent.Kind.BOOKED, note=words, by=by)
