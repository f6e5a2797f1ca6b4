"""Crews, their hours and days off, and the link to their calendar."""

from datetime import datetime

from django.db import transaction
from django.db.models import F
from django.db.models.functions import Greatest

from clients.models import Business
from jobs.actions.crew_days import BookingError, lock_crews
from jobs.actions.placement import OPEN_BOOKING_STATES
from jobs.models import BookingDay, Crew, CrewDay, DayOff
from jobs.offers import links


@transaction.atomic
def save_crew(*, crew: Crew, now: datetime) -> Crew:
    """Keep a crew; days to come get its new hours, but never fewer than are booked.

    Raises `BookingError` if a crew with bookings to come should no longer go out.
    """
    if not crew.pk:
        crew.save()
        return crew
    lock_crews([crew])
    today = Business.objects.get().today(now)
    if not crew.is_active and (
        bookings := crew.bookings.filter(state__in=OPEN_BOOKING_STATES, last_on__gte=today).count()
    ):
        raise BookingError(
            f"{crew} has {bookings} booking{'' if bookings == 1 else 's'} to come. Move them"
            " first.",
            "is_active",
        )
    crew.save()
    coming = CrewDay.objects.filter(crew=crew, day__gte=today)
    coming.update(hours_open=Greatest(F("hours_booked"), crew.hours_a_day))
    return crew


@transaction.atomic
def add_day_off(*, off: DayOff) -> int:
    """Keep days off; how many days of work lie on them, which somebody has to move."""
    off.save()
    rows = BookingDay.objects.filter(
        crew_day__day__range=(off.first_on, off.last_on), booking__state__in=OPEN_BOOKING_STATES
    )
    return (rows.filter(crew_day__crew=off.crew_id) if off.crew_id else rows).count()


@transaction.atomic
def remove_day_off(*, off: DayOff) -> None:
    off.delete()


@transaction.atomic
def open_crew_feed(*, crew: Crew) -> str:
    """A new calendar link of the crew: the token, which nobody can read again.
    The link before it ends."""
    token, crew.feed_hash = links.new_token()
    crew.save(update_fields=["feed_hash"])
    return token


@transaction.atomic
def close_crew_feed(*, crew: Crew) -> None:
    """The link leads nowhere from now on."""
    crew.feed_hash = None
    crew.save(update_fields=["feed_hash"])
