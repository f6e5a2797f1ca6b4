"""A visit that ended before the work did: what is left, and the next day for it."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal

from django.db import transaction

from clients.display import format_day as written
from clients.models import Business, User
from jobs.actions.booking_inputs import BookingMove, NewBooking
from jobs.actions.bookings import book_work, change_booking_notes, lock_booking, move_booking
from jobs.actions.crew_days import NoRoomError
from jobs.diary import active_crews, placement_suggestions
from jobs.models import Booking, Crew


@dataclass(frozen=True)
class Unfinished:
    """What could not be finished, in words, and how many hours it takes (of the whole crew)."""

    left: str
    hours: Decimal


@transaction.atomic
def book_next_visit(
    *,
    booking: Booking,
    unfinished: Unfinished,
    by: User | None,
    now: datetime,
    notify_client: bool = True,
) -> Booking:
    """Take the booking on to the next day with room, of its own crew if it has any, with what is
    left as a note; of one that is done make another. Raises `BookingError`, `NoRoomError`.
    """
    booking = lock_booking(booking)
    business = Business.objects.get()
    today = business.today(now)
    crew, day = next_day_with_room(booking, unfinished.hours, business, today)
    note = f"{written(today)}, left to do: {unfinished.left}"
    if booking.state == Booking.State.DONE:
        work = NewBooking(
            booking.site, list(booking.decks.all()), unfinished.hours, day, crew=crew, notes=note
        )
        return book_work(work=work, by=by, now=now, notify_client=notify_client)
    change_booking_notes(booking=booking, notes="\n".join(filter(None, [booking.notes, note])))
    move = BookingMove(day, crew=crew, hours=unfinished.hours, why=unfinished.left)
    return move_booking(booking=booking, move=move, by=by, now=now, notify_client=notify_client)


def next_day_with_room(
    booking: Booking, hours: Decimal, business: Business, today: date
) -> tuple[Crew, date]:
    """From tomorrow on."""
    for crews in ([booking.crew], active_crews()):
        found = placement_suggestions(
            hours=hours,
            site=booking.site,
            business=business,
            today=today + timedelta(days=1),
            booking=booking,
            crews=crews,
        )
        if found:
            return found[0].placement.crew, found[0].placement.first_on
    raise NoRoomError("No crew has room in the next six weeks. Tell the office.", "hours")
