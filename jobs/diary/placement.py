"""Where a piece of work fits: whole into one day, or over consecutive working days of one crew.

What fits into a day of the crew is never split. Longer work takes what is free on each day; a day
on which less than half of the crew's hours is free does not count as a day to go on with (common
practice, no source). Of two days the one is better on which the crew is in that town already, then
one with work near by, then an empty one.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from enum import IntEnum

from clients.models import Property
from clients.places.climate import distance_km
from jobs.diary.capacity import CrewDayCapacities, CrewDayCapacity, monday_of
from jobs.models import Crew

MAX_BOOKING_SPAN_DAYS = 56  # from the first to the last day of one booking
MIN_BOOKING_HOURS = Decimal(1)  # of an offer whose hours nobody calculated
NEAR_KM = 25  # as the crow flies


class Proximity(IntEnum):
    """What a booking on that day means for the crew's driving, the best first."""

    IN_TOWN = 0
    NEAR = 1
    EMPTY = 2
    FAR = 3


@dataclass(frozen=True)
class Placement:
    """A crew and its days with the hours of each."""

    crew: Crew
    hours_by_day: tuple[tuple[date, Decimal], ...]
    proximity: Proximity = Proximity.EMPTY  # on the first day

    @property
    def first_on(self) -> date:
        return self.hours_by_day[0][0]

    @property
    def last_on(self) -> date:
        return self.hours_by_day[-1][0]

    @property
    def number_of_days(self) -> int:
        return len(self.hours_by_day)

    @property
    def has_gap(self) -> bool:
        """Whether it lies over a weekend or another day without work."""
        return (self.last_on - self.first_on).days >= len(self.hours_by_day)


def placement_from_day(
    rooms: CrewDayCapacities, crew: Crew, start: date, hours: Decimal, *, home: Property
) -> Placement | None:
    """The work from this day on, or None if it does not fit."""
    first = rooms.get((crew.pk, start))
    if first is None or not first.is_working:
        return None
    parts: list[tuple[date, Decimal]] = []
    left = hours
    for room in working_days_from(rooms, crew, start):
        taken = min(left, room.hours_free)
        if taken <= 0 or taken < min_hours_on_day(room, hours, left):
            return None
        parts.append((room.day, taken))
        left -= taken
        if left <= 0:
            return Placement(crew, tuple(parts), proximity_of(home, first))
    return None


def proximity_of(home: Property, room: CrewDayCapacity) -> Proximity:
    if not room.stops:
        return Proximity.EMPTY
    if any(town == home.town for town, *_ in room.stops):
        return Proximity.IN_TOWN
    km = min(
        float(distance_km(home.latitude, home.longitude, north, east))
        for _, north, east in room.stops
    )
    return Proximity.NEAR if km <= NEAR_KM else Proximity.FAR


def min_hours_on_day(room: CrewDayCapacity, hours: Decimal, left: Decimal) -> Decimal:
    """How much of this day the work needs if it is to be done on it."""
    return hours if hours <= room.hours_open else min(left, room.hours_open / 2)


def working_days_from(
    rooms: CrewDayCapacities, crew: Crew, start: date
) -> Iterator[CrewDayCapacity]:
    """Working days of the crew from this one on."""
    for n in range(MAX_BOOKING_SPAN_DAYS):
        room = rooms.get((crew.pk, start + timedelta(days=n)))
        if room is None:
            return
        if room.is_working:
            yield room


def placements(
    rooms: CrewDayCapacities,
    crews: Iterable[Crew],
    starts: Sequence[date],
    hours: Decimal,
    *,
    home: Property,
) -> list[Placement]:
    """All ways to do the work from one of these days on, the best first:
    no gap, few days, little driving, early."""
    found = [
        each
        for crew in crews
        for day in starts
        if (each := placement_from_day(rooms, crew, day, hours, home=home))
    ]
    return sorted(
        found,
        key=lambda each: (
            each.has_gap,
            each.number_of_days,
            each.proximity,
            *chronological_key(each),
        ),
    )


def chronological_key(placement: Placement) -> tuple[date, int]:
    return placement.first_on, placement.crew.position


def placements_within_week(
    rooms: CrewDayCapacities,
    crews: Sequence[Crew],
    starts: Sequence[date],
    hours: Decimal,
    *,
    home: Property,
) -> list[Placement]:
    """Those that end in the week they begin in;
    work longer than a crew's whole week may go on into the next."""
    found = placements(rooms, crews, starts, hours, home=home)
    inside = [each for each in found if monday_of(each.first_on) == monday_of(each.last_on)]
    return inside or [each for each in found if hours > weekly_crew_hours(each.crew)]


def weekly_crew_hours(crew: Crew) -> Decimal:
    return crew.hours_a_day * len(set(crew.works_on))
