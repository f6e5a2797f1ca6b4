"""Weeks as a client chooses them, and the hours of weeks for planning ahead."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from itertools import chain

from clients.display import format_number
from clients.models import Business, Property
from jobs.diary.capacity import (
    NO_HOURS,
    CrewDayCapacities,
    CrewDayCapacity,
    active_crews,
    crew_day_capacities,
    days_between,
    holiday_places,
    monday_of,
)
from jobs.diary.placement import (
    MAX_BOOKING_SPAN_DAYS,
    MIN_BOOKING_HOURS,
    placements_within_week,
)
from jobs.models import Crew, CrewDay

MAX_LOOKAHEAD_WEEKS = 60  # over the longest closed season


@dataclass(frozen=True)
class WeekCapacity:
    """A week from its Monday on, for a piece of work of so many hours."""

    monday: date
    hours_free: Decimal  # of all crews together, from tomorrow on
    has_room: bool
    why_not: str = ""

    @property
    def sunday(self) -> date:
        return self.monday + timedelta(days=6)


@dataclass(frozen=True)
class CrewHoursInWeek:
    """Hours that crews have and that are booked in a week."""

    monday: date
    hours_open: Decimal
    hours_booked: Decimal

    @property
    def hours_free(self) -> Decimal:
        return max(NO_HOURS, self.hours_open - self.hours_booked)

    @property
    def percent(self) -> int:
        """How full the week is."""
        return min(100, int(100 * self.hours_booked / self.hours_open)) if self.hours_open else 0


def week_capacities(
    *, hours: Decimal, site: Property, today: date, weeks: int = 12
) -> list[WeekCapacity]:
    """So many weeks from this one on, in time order;
    months outside the season are passed over, not counted.

    A booking that a client chooses begins tomorrow at the earliest. Five queries however many
    weeks.
    """
    business = Business.objects.get()
    hours = max(hours, MIN_BOOKING_HOURS)
    crews = active_crews()
    first = today + timedelta(days=1)
    last = monday_of(today) + timedelta(days=7 * MAX_LOOKAHEAD_WEEKS + MAX_BOOKING_SPAN_DAYS)
    places = holiday_places(business, site)
    all_rooms = crew_day_capacities(
        business=business, crews=crews, days=days_between(first, last), places=places
    )
    found = []
    for n in range(MAX_LOOKAHEAD_WEEKS):
        days = [
            day for day in days_of_week(monday_of(first) + timedelta(days=7 * n)) if day >= first
        ]
        if any(day.month in business.season_months for day in days):
            found.append(week_capacity(all_rooms, crews, days, hours, site))
    return found[:weeks]


def days_of_week(monday: date) -> list[date]:
    return days_between(monday, monday + timedelta(days=6))


def week_capacity(
    all_rooms: CrewDayCapacities,
    crews: Sequence[Crew],
    days: Sequence[date],
    hours: Decimal,
    home: Property,
) -> WeekCapacity:
    here = [all_rooms[crew.pk, day] for crew in crews for day in days]
    working = [room for room in here if room.is_working]
    free = sum((room.hours_free for room in working), NO_HOURS)
    has_room = bool(placements_within_week(all_rooms, crews, days, hours, home=home))
    why = "" if has_room else why_week_has_no_room(here, working, free, hours)
    return WeekCapacity(monday_of(days[0]), free, has_room, why)


def why_week_has_no_room(
    here: Sequence[CrewDayCapacity],
    working: Sequence[CrewDayCapacity],
    free: Decimal,
    hours: Decimal,
) -> str:
    """In words a client understands."""
    if not working:
        reasons = [room.why_not for room in here if room.why_not != "Not a working day"]
        return f"No crew works this week ({reasons[0]})." if reasons else "No crew works this week."
    if free <= 0:
        return "This week is full."
    if free < hours:
        return (
            f"Only {format_number(free)} of the {format_number(hours)} hours are free in this week."
        )
    return "The free hours of this week are too scattered for this work."


def crew_hours_by_week(*, first: date, weeks: int, business: Business) -> list[CrewHoursInWeek]:
    """What all crews can do, and what is booked, in each week from the Monday of the first day
    on."""
    monday = monday_of(first)
    crews = active_crews()
    last = monday + timedelta(days=7 * weeks - 1)
    found = crew_day_capacities(
        business=business,
        crews=crews,
        days=days_between(monday, last),
        places=holiday_places(business),
    )
    rooms = list(found.values())  # crew after crew, day after day
    by_crew_and_week = [rooms[start : start + 7] for start in range(0, len(rooms), 7)]
    return [
        crew_hours_in_week(
            monday + timedelta(days=7 * week), list(chain(*by_crew_and_week[week::weeks]))
        )
        for week in range(weeks)
    ]


def crew_hours_in_week(monday: date, here: Sequence[CrewDayCapacity]) -> CrewHoursInWeek:
    opened = sum((room.hours_open for room in here if room.is_working), NO_HOURS)
    return CrewHoursInWeek(monday, opened, sum((room.hours_booked for room in here), NO_HOURS))


def crew_hours_by_month(*, first: date, until: date, business: Business) -> dict[date, Decimal]:
    """What crews had or have to give from a day on and before another, by the first of each month:
    as the diary kept the day, else as the crews are set now."""
    days = days_between(first, until - timedelta(days=1))
    found = crew_day_capacities(
        business=business, crews=active_crews(), days=days, places=holiday_places(business)
    )
    open_hours = [(room.day, room.hours_open) for room in found.values() if room.is_working]
    former = CrewDay.objects.filter(crew__is_active=False, hours_booked__gt=0)
    open_hours += former.filter(day__range=(days[0], days[-1])).values_list("day", "hours_open")
    months: dict[date, Decimal] = {}
    for day, hours in open_hours:
        month = day.replace(day=1)
        months[month] = months.get(month, NO_HOURS) + hours
    return months
