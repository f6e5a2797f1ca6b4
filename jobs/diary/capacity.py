"""What room each crew has on each day: its hours, what is booked, and why it does not go out."""

from collections.abc import Iterable, Sequence
from datetime import date, timedelta
from decimal import Decimal
from typing import NamedTuple, cast

from clients import display
from clients.models import Business, Property
from clients.places.public_holidays import HolidayPlace, public_holidays_between
from jobs.models import Booking, BookingDay, Crew, CrewDay, DayOff

NO_HOURS = Decimal(0)
StopLocation = tuple[str, float, float]  # town, latitude, longitude


class CrewDayCapacity(NamedTuple):
    """One crew on one day; hours are those of the whole crew together."""

    crew: Crew
    day: date
    hours_open: Decimal
    hours_booked: Decimal
    why_not: str = ""  # why the crew does not go out on that day, empty if it does
    stops: tuple[StopLocation, ...] = ()  # where it goes already

    @property
    def is_working(self) -> bool:
        return not self.why_not

    @property
    def hours_free(self) -> Decimal:
        return NO_HOURS if self.why_not else max(NO_HOURS, self.hours_open - self.hours_booked)


CrewDayCapacities = dict[tuple[int, date], CrewDayCapacity]  # by crew and day


def days_between(first: date, last: date) -> list[date]:
    return [first + timedelta(days=n) for n in range((last - first).days + 1)]


def monday_of(day: date) -> date:
    return day - timedelta(days=day.weekday())


def active_crews() -> list[Crew]:
    return list(Crew.objects.filter(is_active=True))


def holiday_places(business: Business, *sites: Property) -> list[HolidayPlace]:
    """Nobody works on a holiday of the business, nor on one where the deck stands."""
    own = HolidayPlace(business.country, business.region, business.town)
    others = (HolidayPlace(each.country, each.region, each.town) for each in sites)
    return list(dict.fromkeys([own, *others]))


def crew_day_capacities(
    *,
    business: Business,
    crews: Sequence[Crew],
    days: Sequence[date],
    places: Iterable[HolidayPlace],
    excluding: Booking | None = None,
    forced_open_on: date | None = None,
) -> CrewDayCapacities:
    """The room of these crews on days that follow one another, in three queries.

    One booking is left out, as if it were not there; on the day `forced_open_on` the crew goes out
    whatever the day, for somebody who knows why.
    """
    first = days[0]
    last = days[-1]
    closed = ClosedDays(
        business,
        public_holidays_between(places, first, last),
        days_off_between(first, last),
    )
    rows = CrewDay.objects.filter(crew__in=crews, day__range=(first, last)).order_by()
    kept = {
        (crew, day): hours_open
        for crew, day, hours_open in rows.values_list("crew_id", "day", "hours_open")
    }
    hours, spots = booked_hours_and_locations(crews, first, last, excluding)
    found: CrewDayCapacities = {}
    for crew in crews:
        for day in days:
            key = (crew.pk, day)
            found[key] = CrewDayCapacity(
                crew,
                day,
                kept.get(key, crew.hours_a_day),
                hours.get(key, NO_HOURS),
                "" if day == forced_open_on else closed.why_not(crew, day),
                tuple(spots.get(key, ())),
            )
    return found


def days_off_between(first: date, last: date) -> list[DayOff]:
    return list(DayOff.objects.filter(first_on__lte=last, last_on__gte=first))


def booked_hours_and_locations(
    crews: Sequence[Crew], first: date, last: date, excluding: Booking | None
) -> tuple[dict[tuple[int, date], Decimal], dict[tuple[int, date], list[StopLocation]]]:
    """Hours and places of what stands in the diary, by crew and day."""
    rows = BookingDay.objects.filter(crew_day__crew__in=crews, crew_day__day__range=(first, last))
    if excluding:
        rows = rows.exclude(booking=excluding)
    hours: dict[tuple[int, date], Decimal] = {}
    spots: dict[tuple[int, date], list[StopLocation]] = {}
    home = "booking__site__"
    for crew, day, taken, *spot in rows.order_by().values_list(
        "crew_day__crew_id",
        "crew_day__day",
        "hours",
        f"{home}town",
        f"{home}latitude",
        f"{home}longitude",
    ):
        hours[crew, day] = hours.get((crew, day), NO_HOURS) + taken
        spots.setdefault((crew, day), []).append(cast(StopLocation, tuple(spot)))
    return hours, spots


class ClosedDays:
    """Days on which nobody, or this crew, goes out."""

    def __init__(
        self, business: Business, holidays: dict[date, str], off: Sequence[DayOff]
    ) -> None:
        self.closed_months = closed_month_reasons(business)
        self.holidays = holidays
        self.off = off

    def why_not(self, crew: Crew, day: date) -> str:
        if day.month in self.closed_months:
            return self.closed_months[day.month]
        if day in self.holidays:
            return self.holidays[day]
        if off := next((off for off in self.off if is_day_off_for(off, crew, day)), None):
            return f"Day off: {off.why}" if off.why else "Day off"
        return "" if day.isoweekday() in crew.works_on else "Not a working day"


def closed_month_reasons(business: Business) -> dict[int, str]:
    with display.override_business(business):
        names = {n: display.format_month(date(2000, n, 1)).split()[0] for n in range(1, 13)}
    return {
        n: f"{name} is outside the season"
        for n, name in names.items()
        if n not in business.season_months
    }


def is_day_off_for(off: DayOff, crew: Crew, day: date) -> bool:
    return off.first_on <= day <= off.last_on and off.crew_id in (None, crew.pk)
