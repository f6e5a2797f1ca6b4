"""The visits of today and tomorrow, and the offers that wait for an answer."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

from django.db.models import Count, F, Sum

from jobs.models import Booking, BookingDay, Offer

MAX_BOOKINGS_AHEAD = 12
DAYS_AHEAD = timedelta(days=1)
# What the page and the phone show of a booking.
SHOWN = [
    "booking_id",
    "crew_day__day",
    "crew_day__crew__name",
    "booking__state",
    "booking__first_on",
    "booking__arrives_from",
    "booking__arrives_to",
    "booking__client__name",
    "booking__site__street",
    "booking__site__town",
    "booking__site__latitude",
    "booking__site__longitude",
]


@dataclass(frozen=True)
class OpenOffers:
    """How many offers wait for an answer, and what they come to."""

    count: int
    total: Decimal


def open_offers(*, today: date) -> OpenOffers:
    rows = Offer.objects.in_state(Offer.State.OPEN, today=today)
    found = rows.order_by().aggregate(offers=Count("pk"), money=Sum("total"))
    return OpenOffers(found["offers"], found["money"] or Decimal(0))


def bookings_ahead(today: date) -> Sequence[BookingDay]:
    """What is booked for today and tomorrow, day by day and crew by crew, in order of arrival."""
    rows = BookingDay.objects.filter(
        crew_day__day__range=(today, today + DAYS_AHEAD),
        booking__state__in=[Booking.State.BOOKED, Booking.State.DONE],
    )
    rows = rows.select_related("crew_day__crew", "booking__client", "booking__site").only(*SHOWN)
    arrival = [
        F(f"booking__{name}").asc(nulls_last=True) for name in ("arrives_from", "arrives_to")
    ]
    return list(
        rows.order_by("crew_day__day", "crew_day__crew__position", *arrival, "booking_id")[
            :MAX_BOOKINGS_AHEAD
        ]
    )
