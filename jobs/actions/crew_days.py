"""Hours taken from a crew's days and given back;
whoever changes a crew's diary holds the crew's row meanwhile."""

from collections.abc import Sequence

from django.db.models import F

from jobs.diary import Placement
from jobs.models import Booking, BookingDay, Crew, CrewDay


class BookingError(ValueError):
    """What was asked of the diary cannot be; the message says why and what to do, `field` where."""

    def __init__(self, message: str, field: str = "") -> None:
        super().__init__(message)
        self.field = field


class NoRoomError(BookingError):
    """The work cannot be put on that day or into that week."""


def lock_crews(crews: Sequence[Crew]) -> list[Crew]:
    """The same crews, each held until this transaction ends:
    two people who want the same hours come one after another.

    Always in the order of their numbers, so that nobody waits for somebody who waits for them.
    """
    held = Crew.objects.select_for_update(no_key=True).filter(pk__in=[crew.pk for crew in crews])
    by_pk = {crew.pk: crew for crew in held.order_by("pk")}
    return [by_pk[crew.pk] for crew in crews]


def take_crew_hours(booking: Booking, placement: Placement) -> None:
    """Write the hours into the crew's days; the database refuses more than a day has."""
    for day, hours in placement.hours_by_day:
        row, _ = CrewDay.objects.get_or_create(
            crew=placement.crew, day=day, defaults={"hours_open": placement.crew.hours_a_day}
        )
        CrewDay.objects.filter(pk=row.pk).update(hours_booked=F("hours_booked") + hours)
        BookingDay.objects.create(booking=booking, crew_day=row, hours=hours)


def free_crew_hours(booking: Booking) -> None:
    """The hours of a booking are free again."""
    for taken in booking.days.all():
        CrewDay.objects.filter(pk=taken.crew_day_id).update(
            hours_booked=F("hours_booked") - taken.hours
        )
    booking.days.all().delete()
