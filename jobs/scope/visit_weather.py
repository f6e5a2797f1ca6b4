"""What the expected weather means for a coat that is booked: the rules of the checklist, asked of
each hour of the working day. A forecast is a forecast: it says what to look at, and holds nothing.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

from clients import display
from clients.models import Property
from jobs.models import Booking, Product
from jobs.scope.checklist import (
    RainAround,
    SiteReading,
    WeatherRule,
    temperature_limits,
    weather_checklist,
)
from jobs.scope.definitions import Scope
from jobs.scope.purchase import booked_scopes
from jobs.weather_ahead import (
    WORK_FROM,
    WORK_UNTIL,
    DayWeather,
    ExpectedDays,
    WeatherCredit,
    WeatherSpell,
    is_rainy,
    local_moment,
    read_expected_weather,
    within,
)

SET_HOURS = 24  # of the rule about the night after
DAY = timedelta(hours=SET_HOURS)


@dataclass(frozen=True)
class CoatDoubt:
    """A rule of the checklist that no hour of a day would meet: its name, and all in words."""

    name: str
    words: str


@dataclass(frozen=True)
class VisitWeather:
    """One day of a visit: its weather, and why a coat on it would probably not go (empty where
    nothing says so)."""

    weather: DayWeather
    doubts: Sequence[CoatDoubt] = ()

    @property
    def doubts_in_short(self) -> str:
        """“Rain, the night after”."""
        names = ", ".join(each.name.lower() for each in self.doubts)
        return f"{names[:1].upper()}{names[1:]}"


@dataclass(frozen=True)
class VisitsWeather:
    """Of many visits, by booking and day."""

    by_day: Mapping[tuple[int, date], VisitWeather] = field(default_factory=dict)
    credit: WeatherCredit | None = None

    def of(self, booking: Booking, day: date) -> VisitWeather | None:
        return self.by_day.get((booking.pk, day))

    @property
    def has_doubts(self) -> bool:
        return any(each.doubts for each in self.by_day.values())


def read_visits_weather(
    visits: Iterable[tuple[Booking, date]],
    *,
    today: date,
    now: datetime,
    scopes: Mapping[int, Scope] | None = None,
) -> VisitsWeather:
    """In one query where nothing is told, in none without a source, else in a fixed number; fewer
    where the page has read the `scopes` of the decks already. The coat is taken to go on at the end
    of the last day of a booking."""
    ahead = [(booking, day) for booking, day in visits if day >= today and is_ahead(booking)]
    expected = read_expected_weather([booking.site for booking, _ in ahead], now=now)
    told = [(b, day, seen) for b, day in ahead if (seen := expected.day_at(b.site, day))]
    coated = [booking for booking, day, _ in told if day == booking.last_on]
    if scopes is None and coated:
        coated = bookings_with_work(coated)
        scopes = booked_scopes(coated, today=today)
    finishes = {booking.pk: finishes_of(work_on(booking, scopes or {})) for booking in coated}
    found = {}
    for booking, day, seen in told:
        is_coated = day == booking.last_on and booking.pk in finishes
        doubts = (
            coating_doubts(finishes[booking.pk], expected, booking.site, day) if is_coated else []
        )
        found[booking.pk, day] = VisitWeather(seen, doubts)
    return VisitsWeather(found, expected.credit if found else None)


def is_ahead(booking: Booking) -> bool:
    return booking.state in {Booking.State.BOOKED, Booking.State.HELD}


def bookings_with_work(bookings: Iterable[Booking]) -> list[Booking]:
    """The same with their decks and what is agreed for them."""
    rows = Booking.objects.filter(pk__in=[each.pk for each in bookings]).select_related("offer")
    return list(rows.prefetch_related("decks", "offer__scopes__product"))


def work_on(booking: Booking, scopes: Mapping[int, Scope]) -> list[Scope]:
    return [scopes[deck.pk] for deck in booking.decks.all() if deck.pk in scopes]


def finishes_of(scopes: Iterable[Scope]) -> list[Product]:
    """Those that go on, each once."""
    return list(dict.fromkeys(scope.product for scope in scopes if scope.product))


def weather_of_booked_coat(scope: Scope, *, now: datetime) -> VisitsWeather:
    """Of the day on which the next coat is booked on a deck, for this scope, whatever the booking
    says; nothing without a source or a booking."""
    deck = scope.deck
    if not display.current_business().weather_source:
        return VisitsWeather()
    booking = Booking.objects.next_by_deck([deck.pk]).get(deck.pk)
    expected = read_expected_weather([deck.site] if booking else [], now=now)
    if booking is None or not (seen := expected.day_at(deck.site, booking.last_on)):
        return VisitsWeather()
    doubts = coating_doubts(finishes_of([scope]), expected, deck.site, booking.last_on)
    visit = VisitWeather(seen, doubts)
    return VisitsWeather({(booking.pk, booking.last_on): visit}, expected.credit)


def coating_doubts(
    finishes: Sequence[Product], expected: ExpectedDays, site: Property, day: date
) -> list[CoatDoubt]:
    """Why no hour of the working day would do, by the hour that comes nearest to it;
    empty where one does. Something must be told of that day."""
    spells = expected.spells_at(site)
    zone = site.zone
    first = max(local_moment(day, WORK_FROM, zone), expected.now.astimezone(zone))
    hours = within(spells, first, local_moment(day, WORK_UNTIL, zone))
    readings = [expected_reading(spells, hour, zone) for hour in hours]
    names = " and ".join(product.name for product in finishes) or "the finish"
    best = min(readings, key=lambda each: distance_from_good(finishes, each))
    return [CoatDoubt(rule.name, doubt_text(rule, names)) for rule in unmet_rules(finishes, best)]


def unmet_rules(finishes: Sequence[Product], reading: SiteReading) -> list[WeatherRule]:
    return [rule for rule in weather_checklist(finishes, reading) if rule.is_met is False]


def distance_from_good(finishes: Sequence[Product], reading: SiteReading) -> tuple[int, Decimal]:
    """To compare hours by: how many rules are not met, then how far too cold or too hot it is."""
    low, high, _ = temperature_limits(finishes)
    air_c = reading.air_c or Decimal(0)
    return len(unmet_rules(finishes, reading)), max(low - air_c, air_c - high, Decimal(0))


def doubt_text(rule: WeatherRule, names: str) -> str:
    """“Rain: expected at 4:00 p.m.; Tidewood Clear Guard wants 24 hours without.”"""
    return display.end_once(f"{rule.name}: {rule.found}; {names} wants {rule.wants}.")


def expected_reading(
    spells: Sequence[WeatherSpell], at: WeatherSpell, zone: ZoneInfo
) -> SiteReading:
    """What would be measured if the last coat went on then; the boards are as warm as the air. Of a
    night that is told in part, the coldest told."""
    after = [each for each in spells if at.starts_at <= each.starts_at < at.ends_at + DAY]
    return SiteReading(
        air_c=Decimal(f"{at.air_c:.1f}"),
        humidity_percent=max(1, round(at.humidity_percent)),
        night_c=Decimal(f"{min(each.air_c for each in after):.1f}"),
        rain=rain_around(spells, at, zone),
    )


def rain_around(spells: Sequence[WeatherSpell], at: WeatherSpell, zone: ZoneInfo) -> RainAround:
    """Counted from the end of the hour in which the last coat goes on."""
    coated_at = at.starts_at + timedelta(hours=min(at.hours, 1))
    before = [each for each in spells if is_rainy(each) and each.ends_at <= at.starts_at]
    after = [each for each in spells if is_rainy(each) and each.ends_at > at.starts_at]
    return RainAround(
        known_hours=hours_between(coated_at, last_told(spells, at)),
        ended_hours_before=hours_between(before[-1].ends_at, at.starts_at) if before else None,
        begins_hours_after=(
            max(0.0, hours_between(coated_at, after[0].starts_at)) if after else None
        ),
        words=rain_text((after or before)[0 if after else -1], at, zone) if after or before else "",
    )


def last_told(spells: Sequence[WeatherSpell], at: WeatherSpell) -> datetime:
    """Until when rain is told without a gap."""
    until = at.starts_at
    for spell in spells:
        if spell.starts_at <= until < spell.ends_at and spell.rain_mm is not None:
            until = spell.ends_at
    return until


def rain_text(rain: WeatherSpell, at: WeatherSpell, zone: ZoneInfo) -> str:
    """“expected at 4:00 p.m.”, with the day where it is another."""
    begins = rain.starts_at.astimezone(zone)
    is_same_day = begins.date() == at.starts_at.astimezone(zone).date()
    day = "" if is_same_day else f"{display.format_weekday(begins.date())}, "
    about = "" if rain.hours <= 1 else "about "
    return f"expected {day or 'at '}{about}{display.format_clock(begins)}"


def hours_between(one: datetime, other: datetime) -> float:
    return (other - one) / timedelta(hours=1)
