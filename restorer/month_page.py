"""What the first page shows: this month in figures, where the work lies, what was done and what
waits for somebody."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from django.db.models import F

from clients.messaging.models import Message, ToDo
from clients.models import Deck
from jobs.models import Booking, BookingDay, Job, Offer
from reminders.models import Forecast
from reminders.months import shift_months

MAX_TOWNS = 8
MAX_JOBS = 6
MAX_MESSAGES = 6
MAX_TO_DOS = 6
MAX_BOOKINGS = 12
DAYS_AHEAD = timedelta(days=1)


@dataclass(frozen=True)
class MonthPage:
    """Everything on the page; lists are cut to what fits."""

    month: date
    has_decks: bool
    due: int
    overdue: int
    queued: int
    needs_person_count: int
    jobs_logged: int
    towns: Sequence[dict[str, Any]]
    more_towns: int
    jobs: Sequence[Job]
    messages: Sequence[Message]
    to_dos: Sequence[ToDo]
    to_do_count: int
    offers_open: int
    bookings: Sequence[BookingDay]


def month_page(month: date, *, today: date) -> MonthPage:
    """The month's page in a fixed number of queries."""
    forecasts = Forecast.objects.current()
    towns = sorted(forecasts.due_in(month).towns(), key=lambda town: -town["decks"])
    needing = Message.objects.needing_a_person()
    return MonthPage(
        month=month,
        has_decks=Deck.objects.exists(),
        due=sum(town["decks"] for town in towns),
        overdue=forecasts.due_before(month).count(),
        queued=Message.objects.open().count(),
        needs_person_count=needing.count(),
        jobs_logged=Job.objects.filter(
            finished_on__gte=month, finished_on__lt=shift_months(month, 1)
        ).count(),
        towns=towns[:MAX_TOWNS],
        more_towns=max(0, len(towns) - MAX_TOWNS),
        jobs=recent_jobs(),
        messages=list(needing.select_related("client")[:MAX_MESSAGES]),
        to_dos=list(ToDo.objects.open().select_related("client")[:MAX_TO_DOS]),
        to_do_count=ToDo.objects.open().count(),
        offers_open=Offer.objects.filter(state=Offer.State.OPEN, valid_until__gte=today).count(),
        bookings=bookings_ahead(today),
    )


def bookings_ahead(today: date) -> Sequence[BookingDay]:
    """What is booked for today and tomorrow, day by day and crew by crew, in order of arrival."""
    rows = BookingDay.objects.filter(
        crew_day__day__range=(today, today + DAYS_AHEAD),
        booking__state__in=[Booking.State.BOOKED, Booking.State.DONE],
    )
    rows = rows.select_related("crew_day__crew", "booking__client", "booking__site")
    arrival = [
        F(f"booking__{name}").asc(nulls_last=True) for name in ("arrives_from", "arrives_to")
    ]
    return list(
        rows.order_by("crew_day__day", "crew_day__crew__position", *arrival, "booking_id")[
            :MAX_BOOKINGS
        ]
    )


def recent_jobs() -> Sequence[Job]:
    """The newest jobs with the finishes that went on."""
    jobs = Job.objects.newest_first().select_related("deck__site__client")
    return list(jobs.prefetch_related("coats_applied__product")[:MAX_JOBS])
