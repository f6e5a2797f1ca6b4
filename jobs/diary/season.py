"""The season at a glance: half a year of weeks with the hours that are booked, offered, expected
and free, laid out as bars."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from statistics import mean

from django.core.cache import cache
from django.db.models import Sum

from clients.models import Business
from jobs.diary.week_capacity import CrewHoursInWeek, crew_hours_by_week
from jobs.models import Booking, Crew, Offer

SEASON_WEEKS = 26
USUAL_VISIT_HOURS = 6.0  # while no visit was booked (judgement)
VISITS_LOOKED_AT = 100
EXPECTED_KEY = "season/expected-hours"
EXPECTED_KEPT = 7 * 86_400  # seconds; a newer plan takes its place
BAR_WIDTH = 22
GROUND = 100.0  # of the picture: where the bars stand


@dataclass(frozen=True)
class SeasonWeek:
    """Hours of one week; `offered` is what comes if all open offers are accepted, `expected` what
    the plan of reminders still to go leads one to expect."""

    monday: date
    hours_open: float
    booked: float
    offered: float
    expected: float

    @property
    def free(self) -> float:
        return max(0.0, self.hours_open - self.booked - self.offered - self.expected)

    @property
    def sunday(self) -> date:
        return self.monday + timedelta(days=6)


@dataclass(frozen=True)
class SeasonPart:
    """A piece of a bar: what it is, from where it stands and how high."""

    kind: str
    y: float
    height: float


@dataclass(frozen=True)
class SeasonBar:
    week: SeasonWeek
    left: int
    parts: Sequence[SeasonPart]
    starts_month: bool


@dataclass(frozen=True)
class Season:
    """The weeks, and what there is room for."""

    weeks: tuple[SeasonWeek, ...]
    visit_hours: float

    @property
    def width(self) -> int:
        return BAR_WIDTH * len(self.weeks)

    @property
    def bars(self) -> list[SeasonBar]:
        most = max((max(week.hours_open, week.booked) for week in self.weeks), default=0) or 1.0
        return [
            season_bar(week, number * BAR_WIDTH, GROUND / most)
            for number, week in enumerate(self.weeks)
        ]

    @property
    def next_room(self) -> tuple[date, int] | None:
        """The first month with room, and about how many more visits it takes."""
        months: dict[date, float] = {}
        for week in self.weeks:
            month = week.monday.replace(day=1)
            months[month] = months.get(month, 0.0) + week.free
        for month, hours in months.items():
            if visits := int(hours / self.visit_hours):
                return month, visits
        return None


def season_bar(week: SeasonWeek, left: int, scale: float) -> SeasonBar:
    parts = []
    y = GROUND
    for kind in ("booked", "offered", "expected", "free"):
        height = round(getattr(week, kind) * scale, 1)
        y = round(y - height, 1)
        if height:
            parts.append(SeasonPart(kind, y, height))
    return SeasonBar(week, left, parts, starts_month=week.monday.day <= 7)


def read_season(*, today: date, business: Business) -> Season:
    """Half a year from this week on, in a fixed number of queries."""
    crews = crew_hours_by_week(first=today, weeks=SEASON_WEEKS, business=business)
    weeks = season_weeks(crews, open_offer_hours(today), expected_hours())
    return Season(tuple(weeks), visit_hours())


def season_weeks(
    crews: Sequence[CrewHoursInWeek], offered: float, expected: Mapping[date, float]
) -> list[SeasonWeek]:
    """Offers fill the first weeks with room, as clients mostly choose them."""
    found = []
    for week in crews:
        room = float(week.hours_free)
        taken = min(offered, room)
        offered -= taken
        hoped = min(expected.get(week.monday, 0.0), room - taken)
        found.append(
            SeasonWeek(week.monday, float(week.hours_open), float(week.hours_booked), taken, hoped)
        )
    return found


def open_offer_hours(today: date) -> float:
    """Of all offers that wait for an answer."""
    rows = Offer.objects.in_state(Offer.State.OPEN, today=today).order_by()
    return float(rows.aggregate(hours=Sum("hours"))["hours"] or 0)


def visit_hours() -> float:
    """What a visit takes on average, by the newest ones."""
    newest = Booking.objects.order_by("-pk").values_list("hours", flat=True)[:VISITS_LOOKED_AT]
    hours = [float(each) for each in newest]
    return mean(hours) if hours else USUAL_VISIT_HOURS


def keep_expected_hours(weeks: Mapping[date, float]) -> None:
    """Hours by week that the plan of reminders leads one to expect, as it was shown last."""
    cache.set(EXPECTED_KEY, dict(weeks), EXPECTED_KEPT)


def expected_hours() -> Mapping[date, float]:
    found: Mapping[date, float] = cache.get(EXPECTED_KEY) or {}
    return found


def next_booking_after(day: date, crews: Collection[Crew] | None = None) -> Booking | None:
    """The first visit that is booked or held from this day on, of these crews or of any."""
    living = Booking.objects.filter(
        first_on__gte=day, state__in=[Booking.State.BOOKED, Booking.State.HELD]
    )
    if crews is not None:
        living = living.filter(crew__in=crews)
    return living.select_related("client", "site").order_by("first_on").first()
