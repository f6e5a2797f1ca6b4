"""Days that suit a piece of work: the earliest, and those on which a crew is in that town or near by already."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

from clients.models import Business, Property
from jobs.diary.placing import LONGEST_DAYS, Placement, Way, in_time, placements
from jobs.diary.rooms import crews_going_out, days_between, places_of, rooms
from jobs.models.diary import Booking, Crew

WEEKS = 6
EARLIEST, NEAR = 4, 3  # how many of each are shown


@dataclass(frozen=True)
class Suggestion:
    """A day and crew, and what speaks for it."""

    placement: Placement
    hours_free: Decimal

    @property
    def value(self) -> str:
        """As a form sends it."""
        return f"{self.placement.crew.pk}:{self.placement.first_on.isoformat()}"


def suggestions(
    *, hours: Decimal, property: Property, business: Business, today: date, booking: Booking | None = None,
    crews: Sequence[Crew] | None = None,
) -> list[Suggestion]:  # fmt: skip
    """In order of time, from today on; before the season from its first day on. `booking` is the one to be moved."""
    first = season_start(today, business)
    last = first + timedelta(days=7 * WEEKS - 1)
    going = crews_going_out() if crews is None else crews
    found = rooms(
        business=business, crews=going, first=first, last=last + timedelta(days=LONGEST_DAYS), without=booking,
        places=places_of(business, (property.country, property.region)),
    )  # fmt: skip
    ways = placements(found, going, days_between(first, last), hours, home=property)
    if booking:
        ways = [way for way in ways if (way.crew.pk, way.first_on) != (booking.crew_id, booking.first_on)]
    ways.sort(key=lambda way: (way.has_a_gap, way.number_of_days, way.way == Way.FAR, *in_time(way)))
    near = [way for way in ways if way.way <= Way.NEAR][:NEAR]
    chosen = sorted({*ways[:EARLIEST], *near}, key=in_time)
    return [Suggestion(way, found[way.crew.pk, way.first_on].hours_free) for way in chosen]


def season_start(today: date, business: Business) -> date:
    """Today, or the first day of the next month in which crews work."""
    day = today
    while day.month not in business.season_months:
        day = (day.replace(day=1) + timedelta(days=32)).replace(day=1)
    return day
