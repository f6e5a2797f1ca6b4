"""Weeks as a client chooses them, and the hours of weeks for planning ahead."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

from clients.display import number
from clients.models import Business, Property
from jobs.diary.placing import LEAST_HOURS, LONGEST_DAYS, within_week
from jobs.diary.rooms import NONE, Room, Rooms, crews_going_out, days_between, monday_of, places_of, rooms
from jobs.models.diary import Crew

LOOK_AHEAD_WEEKS = 60  # over the longest closed season


@dataclass(frozen=True)
class WeekRoom:
    """A week from its Monday on, for a piece of work of so many hours."""

    monday: date
    hours_free: Decimal  # of all crews together, from tomorrow on
    is_workable: bool  # at least one crew goes out
    has_room: bool
    why_not: str = ""

    @property
    def sunday(self) -> date:
        return self.monday + timedelta(days=6)


@dataclass(frozen=True)
class WeekHours:
    """Hours that crews have and that are booked in a week."""

    monday: date
    hours_open: Decimal
    hours_booked: Decimal

    @property
    def hours_free(self) -> Decimal:
        return max(NONE, self.hours_open - self.hours_booked)

    @property
    def percent(self) -> int:
        """How full the week is."""
        return min(100, int(100 * self.hours_booked / self.hours_open)) if self.hours_open else 0


def weeks_with_room(*, hours: Decimal, property: Property, today: date, weeks: int = 12) -> list[WeekRoom]:
    """So many weeks from this one on, in time order; months outside the season are passed over, not counted.

    A booking that a client chooses begins tomorrow at the earliest. Five queries however many weeks.
    """
    business, hours = Business.objects.get(), max(hours, LEAST_HOURS)
    crews, first = crews_going_out(), today + timedelta(days=1)
    last = monday_of(today) + timedelta(days=7 * LOOK_AHEAD_WEEKS + LONGEST_DAYS)
    places = places_of(business, (property.country, property.region))
    all_rooms = rooms(business=business, crews=crews, first=first, last=last, places=places)
    found = []
    for n in range(LOOK_AHEAD_WEEKS):
        days = [day for day in week_days(monday_of(first) + timedelta(days=7 * n)) if day >= first]
        if any(day.month in business.season_months for day in days):
            found.append(week_room(all_rooms, crews, days, hours, property))
    return found[:weeks]


def week_days(monday: date) -> list[date]:
    return days_between(monday, monday + timedelta(days=6))


def week_room(
    all_rooms: Rooms, crews: Sequence[Crew], days: Sequence[date], hours: Decimal, home: Property
) -> WeekRoom:
    here = [all_rooms[crew.pk, day] for crew in crews for day in days]
    working = [room for room in here if room.is_working]
    free = sum((room.hours_free for room in working), NONE)
    has_room = bool(within_week(all_rooms, crews, days, hours, home=home))
    why = "" if has_room else why_no_room(here, working, free, hours)
    return WeekRoom(monday_of(days[0]), free, bool(working), has_room, why)


def why_no_room(here: Sequence[Room], working: Sequence[Room], free: Decimal, hours: Decimal) -> str:
    """In words a client understands."""
    if not working:
        reasons = [room.why_not for room in here if room.why_not != "Not a working day"]
        return f"Nobody goes out in this week ({reasons[0]})." if reasons else "Nobody goes out in this week."
    if free <= 0:
        return "This week is full."
    if free < hours:
        return f"Only {number(free)} of the {number(hours)} hours are free in this week."
    return "The free hours of this week are too scattered for this work."


def hours_by_week(*, first: date, weeks: int, business: Business) -> list[WeekHours]:
    """What all crews can do, and what is booked, in each week from the Monday of the first day on."""
    monday, crews = monday_of(first), crews_going_out()
    last = monday + timedelta(days=7 * weeks - 1)
    found = rooms(business=business, crews=crews, first=monday, last=last, places=places_of(business))
    return [hours_of_week(found, monday + timedelta(days=7 * n)) for n in range(weeks)]


def hours_of_week(found: Rooms, monday: date) -> WeekHours:
    here = [room for (_, day), room in found.items() if monday_of(day) == monday]
    opened = sum((room.hours_open for room in here if room.is_working), NONE)
    return WeekHours(monday, opened, sum((room.hours_booked for room in here), NONE))
