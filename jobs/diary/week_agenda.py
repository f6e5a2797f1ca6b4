"""One week of the diary as it is read: days, in each the crews, in each the runs by town."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

from django.db.models import Prefetch, Q

from clients.models import Business, Deck
from jobs.diary.capacity import (
    NO_HOURS,
    CrewDayCapacity,
    crew_day_capacities,
    days_between,
    holiday_places,
    monday_of,
)
from jobs.diary.town_runs import TownRun, group_into_town_runs
from jobs.models import Booking, BookingDay, Crew

State = Booking.State


@dataclass(frozen=True)
class DiaryStop:
    """A booking on one of its days."""

    booking: Booking
    hours: Decimal
    day_number: int  # which of its days, from 1
    day_count: int

    @property
    def is_fixed(self) -> bool:
        """Done: it can no longer be moved."""
        return self.booking.state == State.DONE


@dataclass(frozen=True)
class CrewSchedule:
    """What one crew does on one day."""

    capacity: CrewDayCapacity
    runs: list[TownRun[DiaryStop]]

    @property
    def crew(self) -> Crew:
        return self.capacity.crew

    @property
    def hours(self) -> Decimal:
        return self.capacity.hours_booked

    @property
    def percent(self) -> int:
        """How full the day is."""
        return int(100 * self.hours / self.capacity.hours_open) if self.capacity.hours_open else 0

    @property
    def can_be_held(self) -> bool:
        return any(stop.booking.state == State.BOOKED for run in self.runs for stop in run.stops)


@dataclass(frozen=True)
class DiaryDay:
    """A day with all crews; `closed` says why, if none goes out."""

    day: date
    crews: list[CrewSchedule]
    closed: str

    @property
    def is_empty(self) -> bool:
        return not any(each.runs for each in self.crews)

    @property
    def can_be_held(self) -> bool:
        return any(each.can_be_held for each in self.crews)


@dataclass(frozen=True)
class CrewWeekHours:
    """A crew's hours in the week."""

    crew: Crew
    hours_open: Decimal
    hours_booked: Decimal

    @property
    def percent(self) -> int:
        return min(100, int(100 * self.hours_booked / self.hours_open)) if self.hours_open else 0


@dataclass(frozen=True)
class DiaryWeek:
    """Monday to Sunday; days on which nobody works and nothing is booked are left out at its
    end."""

    monday: date
    days: list[DiaryDay]
    crews: list[CrewWeekHours]

    @property
    def sunday(self) -> date:
        return self.monday + timedelta(days=6)

    def visits(self) -> Iterator[tuple[Booking, date]]:
        """Each booking on each of its days of the week."""
        for each in self.days:
            for run in (run for crew in each.crews for run in crew.runs):
                yield from ((stop.booking, each.day) for stop in run.stops)


def diary_week(day: date, *, business: Business) -> DiaryWeek:
    """The week in which that day lies, in a fixed number of queries."""
    monday = monday_of(day)
    sunday = monday + timedelta(days=6)
    crews = crews_in_period(monday, sunday)
    found = crew_day_capacities(
        business=business,
        crews=crews,
        days=days_between(monday, sunday),
        places=holiday_places(business),
    )
    stops = stops_by_crew_day(monday, sunday)
    days = [diary_day(each, crews, found, stops) for each in days_between(monday, sunday)]
    while len(days) > 5 and days[-1].closed and days[-1].is_empty:
        days.pop()
    return DiaryWeek(monday, days, [crew_week_hours(crew, list(found.values())) for crew in crews])


def crews_in_period(first: date, last: date) -> list[Crew]:
    """Those that go out, and those that did and have work there."""
    with_work = Q(
        pk__in=BookingDay.objects.filter(crew_day__day__range=(first, last)).values(
            "crew_day__crew"
        )
    )
    return list(Crew.objects.filter(Q(is_active=True) | with_work))


def stops_by_crew_day(first: date, last: date) -> dict[tuple[int, date], list[DiaryStop]]:
    """By crew and day, in order of booking; `runs` puts them in order of arrival."""
    decks = Prefetch("booking__decks", Deck.objects.order_by("label"))
    rows = BookingDay.objects.filter(crew_day__day__range=(first, last)).order_by("booking_id")
    rows = rows.select_related("crew_day", "booking__site", "booking__client", "booking__crew")
    found: dict[tuple[int, date], list[DiaryStop]] = {}
    for row in rows.prefetch_related(decks, "booking__days__crew_day"):
        whole = [part.crew_day.day for part in row.booking.days.all()]
        stop = DiaryStop(row.booking, row.hours, whole.index(row.crew_day.day) + 1, len(whole))
        found.setdefault((row.crew_day.crew_id, row.crew_day.day), []).append(stop)
    return found


def diary_day(
    day: date,
    crews: Sequence[Crew],
    found: dict[tuple[int, date], CrewDayCapacity],
    stops: dict[tuple[int, date], list[DiaryStop]],
) -> DiaryDay:
    each = [
        CrewSchedule(
            found[crew.pk, day],
            group_into_town_runs(
                stops.get((crew.pk, day), []),
                lambda stop: stop.booking.site,
                lambda stop: stop.booking.arrival(),
            ),
        )
        for crew in crews
    ]
    reasons = [one.capacity.why_not for one in each]
    return DiaryDay(day, each, reasons[0] if reasons and all(reasons) else "")


def crew_week_hours(crew: Crew, found: Sequence[CrewDayCapacity]) -> CrewWeekHours:
    own = [room for room in found if room.crew == crew]
    opened = sum((room.hours_open for room in own if room.is_working), NO_HOURS)
    return CrewWeekHours(crew, opened, sum((room.hours_booked for room in own), NO_HOURS))
