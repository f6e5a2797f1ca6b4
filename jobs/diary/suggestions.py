"""Days that suit a piece of work: the earliest, and those on which a crew is in that town or near
by already."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

from clients.models import Business, Property
from jobs.diary.capacity import active_crews, crew_day_capacities, days_between, holiday_places
from jobs.diary.placement import (
    MAX_BOOKING_SPAN_DAYS,
    Placement,
    Proximity,
    chronological_key,
    placements,
)
from jobs.models import Booking, Crew

SUGGESTED_WEEKS = 6
# how many of each are shown
MAX_EARLIEST_SHOWN = 4
MAX_NEAR_SHOWN = 3


@dataclass(frozen=True)
class PlacementSuggestion:
    """A day and crew, and what speaks for it."""

    placement: Placement
    hours_free: Decimal

    @property
    def value(self) -> str:
        """As a form sends it."""
        return f"{self.placement.crew.pk}:{self.placement.first_on.isoformat()}"


def placement_suggestions(
    *,
    hours: Decimal,
    site: Property,
    business: Business,
    today: date,
    booking: Booking | None = None,
    crews: Sequence[Crew] | None = None,
) -> list[PlacementSuggestion]:
    """In order of time, from today on; before the season from its first day on.
    `booking` is the one to be moved."""
    first = next_season_day(today, business)
    last = first + timedelta(days=7 * SUGGESTED_WEEKS - 1)
    going = active_crews() if crews is None else crews
    found = crew_day_capacities(
        business=business,
        crews=going,
        days=days_between(first, last + timedelta(days=MAX_BOOKING_SPAN_DAYS)),
        excluding=booking,
        places=holiday_places(business, site),
    )
    ways = placements(found, going, days_between(first, last), hours, home=site)
    if booking:
        ways = [
            way
            for way in ways
            if (way.crew.pk, way.first_on) != (booking.crew_id, booking.first_on)
        ]
    ways.sort(
        key=lambda way: (
            way.has_gap,
            way.number_of_days,
            way.proximity == Proximity.FAR,
            *chronological_key(way),
        )
    )
    near = [way for way in ways if way.proximity <= Proximity.NEAR][:MAX_NEAR_SHOWN]
    chosen = sorted({*ways[:MAX_EARLIEST_SHOWN], *near}, key=chronological_key)
    return [PlacementSuggestion(way, found[way.crew.pk, way.first_on].hours_free) for way in chosen]


def next_season_day(today: date, business: Business) -> date:
    """Today, or the first day of the next month in which crews work."""
    day = today
    while day.month not in business.season_months:
        day = (day.replace(day=1) + timedelta(days=32)).replace(day=1)
    return day
