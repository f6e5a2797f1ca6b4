"""What of the diary waits for a person: accepted offers without a day, bookings held, over, or on a day off."""

from dataclasses import dataclass
from datetime import date, timedelta

from jobs.diary.rooms import days_off, is_off
from jobs.models.diary import Booking, BookingDay, DayOff
from jobs.models.offer import Offer

MOST = 20
AHEAD = timedelta(days=60)


@dataclass(frozen=True)
class Unsettled:
    """Lists of at most twenty each."""

    offers: list[Offer]  # accepted, without a booking
    held: list[Booking]
    over: list[Booking]  # not logged yet
    gone: list[Booking]  # to come, of clients who were archived
    off: list[tuple[BookingDay, DayOff]]  # on a day off that came later

    def __bool__(self) -> bool:
        return bool(self.offers or self.held or self.over or self.gone or self.off)


def unsettled(*, today: date) -> Unsettled:
    offers = Offer.objects.filter(state=Offer.State.ACCEPTED, booking=None).select_related("client", "property")
    bookings = Booking.objects.select_related("client", "property", "crew")
    held = bookings.filter(state=Booking.State.HELD)
    over = bookings.filter(state=Booking.State.BOOKED, last_on__lt=today)
    gone = bookings.filter(state=Booking.State.BOOKED, last_on__gte=today, client__archived_at__isnull=False)
    return Unsettled(
        list(offers.order_by("accepted_week", "number")[:MOST]), list(held[:MOST]), list(over[:MOST]),
        list(gone[:MOST]), on_days_off(today)[:MOST],
    )  # fmt: skip


def on_days_off(today: date) -> list[tuple[BookingDay, DayOff]]:
    """Bookings of the next weeks on which their crew has a day off that came later."""
    last = today + AHEAD
    off = days_off(today, last)
    rows = BookingDay.objects.filter(crew_day__day__range=(today, last), booking__state=Booking.State.BOOKED)
    rows = rows.select_related("crew_day__crew", "booking__client", "booking__property") if off else rows.none()
    return [(row, each) for row in rows for each in off if is_off(each, row.crew_day.crew, row.crew_day.day)]
