"""Hours taken from a crew's days and given back; whoever changes a crew's diary holds the crew's row meanwhile."""

from collections.abc import Sequence
from datetime import date, timedelta
from decimal import Decimal

from django.db.models import F

from clients.display import day as written
from clients.display import number
from clients.models import Business, Property
from jobs import diary
from jobs.diary import Placement, Room
from jobs.diary.placing import LONGEST_DAYS
from jobs.models import Booking, BookingDay, Crew, CrewDay


class BookingError(ValueError):
    """What was asked of the diary cannot be; the message says why and what to do, `field` where."""

    def __init__(self, message: str, field: str = "") -> None:
        super().__init__(message)
        self.field = field


class NoRoomError(BookingError):
    """The work cannot be put on that day or into that week."""


def lock(crews: Sequence[Crew]) -> list[Crew]:
    """The same crews, each held until this transaction ends: two people who want the same hours come one after another.

    Always in the order of their numbers, so that nobody waits for somebody who waits for them.
    """
    held = Crew.objects.select_for_update(no_key=True).filter(pk__in=[crew.pk for crew in crews])
    by_pk = {crew.pk: crew for crew in held.order_by("pk")}
    return [by_pk[crew.pk] for crew in crews]


def find_day(
    *, crews: Sequence[Crew], day: date, hours: Decimal, property: Property, business: Business,
    without: Booking | None = None, on_any_day: bool = False,
) -> Placement:  # fmt: skip
    """The work from this day on, by the first of the crews that has room; raises `NoRoomError`."""
    places = diary.places_of(business, (property.country, property.region))
    rooms = diary.rooms(
        business=business, crews=crews, first=day, last=day + timedelta(days=LONGEST_DAYS), places=places,
        without=without, opened=day if on_any_day else None,
    )  # fmt: skip
    found = diary.placements(rooms, crews, [day], hours, town=property.town)
    if not found:
        raise NoRoomError(why_not_on([rooms[crew.pk, day] for crew in crews], hours), "first_day")
    return found[0]


def why_not_on(here: Sequence[Room], hours: Decimal) -> str:
    """Why none of these crews can take the work on that day."""
    on = written(here[0].day)
    closed = [room for room in here if not room.is_working]
    if len(closed) == len(here):
        return f"{closed[0].crew} does not go out on {on}: {closed[0].why_not}. Choose another day."
    best = max(here, key=lambda room: room.hours_free)
    return (
        f"The work takes {number(hours)} h and {best.crew} has {number(best.hours_free)} h free on {on}"
        f"{'' if hours <= best.hours_open else ' and too little on the days after it'}. Choose another day or crew."
    )


def find_week(
    *, crews: Sequence[Crew], week: date, today: date, hours: Decimal, property: Property, business: Business
) -> Placement:
    """The best place in the week of that day, from tomorrow on; raises `NoRoomError`."""
    monday = diary.monday_of(week)
    starts = [day for n in range(7) if (day := monday + timedelta(days=n)) > today]
    if not starts:
        raise NoRoomError("This week is over. Choose a later one.", "week")
    places = diary.places_of(business, (property.country, property.region))
    last = starts[-1] + timedelta(days=LONGEST_DAYS)
    rooms = diary.rooms(business=business, crews=crews, first=starts[0], last=last, places=places)
    found = diary.within_week(rooms, crews, starts, hours, town=property.town)
    if not found:
        raise NoRoomError(f"The week of {written(monday)} has no room for this work any more. Choose another.", "week")
    return found[0]


def take(booking: Booking, placement: Placement) -> None:
    """Write the hours into the crew's days; the database refuses more than a day has."""
    for day, hours in placement.parts:
        row, _ = CrewDay.objects.get_or_create(
            crew=placement.crew, day=day, defaults={"hours_open": placement.crew.hours_a_day}
        )
        CrewDay.objects.filter(pk=row.pk).update(hours_booked=F("hours_booked") + hours)
        BookingDay.objects.create(booking=booking, crew_day=row, hours=hours)


def give_back(booking: Booking) -> None:
    """The hours of a booking are free again."""
    for taken in booking.days.all():
        CrewDay.objects.filter(pk=taken.crew_day_id).update(hours_booked=F("hours_booked") - taken.hours)
    booking.days.all().delete()
