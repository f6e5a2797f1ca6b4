"""One week of the diary as it is read: days, in each the crews, in each the runs by town."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

from django.db.models import Prefetch, Q

from clients.models import Business, Deck
from jobs.diary.rooms import NONE, Room, days_between, monday_of, places_of, rooms
from jobs.diary.runs import Run, runs
from jobs.models.diary import Booking, BookingDay, Crew

State = Booking.State


@dataclass(frozen=True)
class Stop:
    """A booking on one of its days."""

    booking: Booking
    hours: Decimal
    number: int  # which of its days, from 1
    of: int

    @property
    def is_fixed(self) -> bool:
        """Done: it can no longer be moved."""
        return self.booking.state == State.DONE


@dataclass(frozen=True)
class CrewsDay:
    """What one crew does on one day."""

    room: Room
    runs: list[Run[Stop]]

    @property
    def crew(self) -> Crew:
        return self.room.crew

    @property
    def hours(self) -> Decimal:
        return self.room.hours_booked

    @property
    def percent(self) -> int:
        """How full the day is."""
        return int(100 * self.hours / self.room.hours_open) if self.room.hours_open else 0

    @property
    def can_be_held(self) -> bool:
        return any(stop.booking.state == State.BOOKED for run in self.runs for stop in run.stops)


@dataclass(frozen=True)
class Day:
    """A day with all crews; `closed` says why, if none goes out."""

    day: date
    crews: list[CrewsDay]
    closed: str

    @property
    def is_empty(self) -> bool:
        return not any(each.runs for each in self.crews)

    @property
    def can_be_held(self) -> bool:
        return any(each.can_be_held for each in self.crews)


@dataclass(frozen=True)
class CrewsWeek:
    """A crew's hours in the week."""

    crew: Crew
    hours_open: Decimal
    hours_booked: Decimal

    @property
    def percent(self) -> int:
        return min(100, int(100 * self.hours_booked / self.hours_open)) if self.hours_open else 0


@dataclass(frozen=True)
class Week:
    """Monday to Sunday; days on which nobody works and nothing is booked are left out at its end."""

    monday: date
    days: list[Day]
    crews: list[CrewsWeek]

    @property
    def sunday(self) -> date:
        return self.monday + timedelta(days=6)


def week_of(day: date, *, business: Business) -> Week:
    """The week in which that day lies, in a fixed number of queries."""
    monday = monday_of(day)
    sunday = monday + timedelta(days=6)
    crews = crews_of(monday, sunday)
    found = rooms(business=business, crews=crews, first=monday, last=sunday, places=places_of(business))
    stops = stops_of(monday, sunday)
    days = [day_of(each, crews, found, stops) for each in days_between(monday, sunday)]
    while len(days) > 5 and days[-1].closed and days[-1].is_empty:
        days.pop()
    return Week(monday, days, [week_of_crew(crew, list(found.values())) for crew in crews])


def crews_of(first: date, last: date) -> list[Crew]:
    """Those that go out, and those that did and have work there."""
    with_work = Q(pk__in=BookingDay.objects.filter(crew_day__day__range=(first, last)).values("crew_day__crew"))
    return list(Crew.objects.filter(Q(is_active=True) | with_work))


def stops_of(first: date, last: date) -> dict[tuple[int, date], list[Stop]]:
    """By crew and day, in order of booking; `runs` puts them in order of arrival."""
    decks = Prefetch("booking__decks", Deck.objects.order_by("label"))
    rows = BookingDay.objects.filter(crew_day__day__range=(first, last)).order_by("booking_id")
    rows = rows.select_related("crew_day", "booking__property", "booking__client", "booking__crew")
    found: dict[tuple[int, date], list[Stop]] = {}
    for row in rows.prefetch_related(decks, "booking__days__crew_day"):
        whole = [part.crew_day.day for part in row.booking.days.all()]
        stop = Stop(row.booking, row.hours, whole.index(row.crew_day.day) + 1, len(whole))
        found.setdefault((row.crew_day.crew_id, row.crew_day.day), []).append(stop)
    return found


def day_of(
    day: date, crews: Sequence[Crew], found: dict[tuple[int, date], Room], stops: dict[tuple[int, date], list[Stop]]
) -> Day:
    each = [
        CrewsDay(
            found[crew.pk, day],
            runs(
                stops.get((crew.pk, day), []), lambda stop: stop.booking.property, lambda stop: stop.booking.arrival()
            ),
        )
        for crew in crews
    ]
    reasons = [one.room.why_not for one in each]
    return Day(day, each, reasons[0] if reasons and all(reasons) else "")


def week_of_crew(crew: Crew, found: Sequence[Room]) -> CrewsWeek:
    own = [room for room in found if room.crew == crew]
    opened = sum((room.hours_open for room in own if room.is_working), NONE)
    return CrewsWeek(crew, opened, sum((room.hours_booked for room in own), NONE))
