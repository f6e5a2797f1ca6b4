"""What of the diary waits for a person:
accepted offers without a day, bookings held, over, or on a day off."""

from dataclasses import dataclass
from datetime import date, timedelta

from jobs.diary.capacity import days_off_between, is_day_off_for
from jobs.models import Booking, BookingDay, DayOff, Offer

MAX_UNSETTLED_SHOWN = 20
DAY_OFF_LOOKAHEAD = timedelta(days=60)


@dataclass(frozen=True)
class UnsettledWork:
    """Lists of at most twenty each."""

    offers: list[Offer]  # accepted, without a booking
    held: list[Booking]
    unlogged: list[Booking]  # not logged yet
    of_archived_clients: list[Booking]  # to come, of clients who were archived
    on_day_off: list[tuple[BookingDay, DayOff]]  # on a day off that came later

    def __bool__(self) -> bool:
        return bool(
            self.offers or self.held or self.unlogged or self.of_archived_clients or self.on_day_off
        )


def unsettled_work(*, today: date) -> UnsettledWork:
    offers = Offer.objects.needing_a_day().select_related("client", "site")
    bookings = Booking.objects.select_related("client", "site", "crew")
    held = bookings.filter(state=Booking.State.HELD)
    over = bookings.filter(state=Booking.State.BOOKED, last_on__lt=today)
    gone = bookings.filter(
        state=Booking.State.BOOKED, last_on__gte=today, client__archived_at__isnull=False
    )
    return UnsettledWork(
        list(offers.order_by("accepted_week", "number")[:MAX_UNSETTLED_SHOWN]),
        list(held[:MAX_UNSETTLED_SHOWN]),
        list(over[:MAX_UNSETTLED_SHOWN]),
        list(gone[:MAX_UNSETTLED_SHOWN]),
        bookings_on_days_off(today)[:MAX_UNSETTLED_SHOWN],
    )


def bookings_on_days_off(today: date) -> list[tuple[BookingDay, DayOff]]:
    """Bookings of the next weeks on which their crew has a day off that came later."""
    last = today + DAY_OFF_LOOKAHEAD
    off = days_off_between(today, last)
    rows = BookingDay.objects.filter(
        crew_day__day__range=(today, last), booking__state=Booking.State.BOOKED
    )
    rows = (
        rows.select_related("crew_day__crew", "booking__client", "booking__site")
        if off
        else rows.none()
    )
    return [
        (row, each)
        for row in rows
        for each in off
        if is_day_off_for(each, row.crew_day.crew, row.crew_day.day)
    ]
