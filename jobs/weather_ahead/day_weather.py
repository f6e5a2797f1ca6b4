"""One day of expected weather, in the words of people who work outdoors: the working hours first,
then the night after."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

from clients import display
from jobs.weather_ahead.spells import WeatherSpell

# The hours in which crews are on the boards, by the clock of the place (a judgement).
WORK_FROM = time(7)
WORK_UNTIL = time(19)
NIGHT_HOURS = timedelta(hours=12)
# Less in one hour, or in six, is taken for none (a judgement: services tell tenths).
MIN_RAIN_MM = 0.2


@dataclass(frozen=True)
class RainSpan:
    """Rain without a break, as far as the source tells hours apart."""

    starts_at: datetime
    ends_at: datetime
    rain_mm: float


@dataclass(frozen=True)
class DayWeather:
    """The working hours of a day that are still ahead, and the night after them; times are on the
    clock of the place."""

    day: date
    starts_at: datetime
    ends_at: datetime
    lowest_c: float
    highest_c: float
    rain: Sequence[RainSpan]
    is_rain_known: bool
    is_hourly: bool
    night_c: float | None
    night_mm: float

    @property
    def words(self) -> str:
        """“8 to 17 °C, dry until 4:00 p.m., then 3 mm of rain; night down to 6 °C”."""
        air = display.format_whole_range(
            tenths(self.lowest_c), tenths(self.highest_c), "temperature"
        )
        day = ", ".join(filter(None, [air, self.rain_words]))
        return "; ".join(filter(None, [day, self.night_words]))

    @property
    def rain_words(self) -> str:
        if not self.is_rain_known:
            return ""
        if not self.rain:
            return "dry"
        amount = display.format_rain(tenths(sum(span.rain_mm for span in self.rain)))
        begins = self.rain[0].starts_at
        ends = self.rain[-1].ends_at
        if begins <= self.starts_at and ends >= self.ends_at:
            often = "all day" if len(self.rain) == 1 else "on and off"
            return f"rain {often}, {amount}"
        if begins <= self.starts_at:
            return f"{amount} of rain until {self.clock(ends)}, then dry"
        if ends >= self.ends_at:
            return f"dry until {self.clock(begins)}, then {amount} of rain"
        return f"{amount} of rain between {self.clock(begins)} and {self.clock(ends)}"

    @property
    def night_words(self) -> str:
        if self.night_c is None:
            return ""
        low = display.format_whole_range(tenths(self.night_c), tenths(self.night_c), "temperature")
        rain = display.format_rain(tenths(self.night_mm)) if self.night_mm >= MIN_RAIN_MM else ""
        return f"night down to {low}" + (f", {rain} of rain" if rain else "")

    def clock(self, moment: datetime) -> str:
        """To the hour where the source tells hours, else about."""
        return f"{'' if self.is_hourly else 'about '}{display.format_clock(moment)}"


def tenths(value: float) -> Decimal:
    return Decimal(f"{value:.1f}")


def is_rainy(spell: WeatherSpell) -> bool:
    return spell.rain_mm is not None and spell.rain_mm >= MIN_RAIN_MM


def local_moment(day: date, clock: time, zone: ZoneInfo) -> datetime:
    return datetime.combine(day, clock, tzinfo=zone)


def within(spells: Iterable[WeatherSpell], first: datetime, last: datetime) -> list[WeatherSpell]:
    return [spell for spell in spells if spell.starts_at < last and spell.ends_at > first]


def day_weather(
    spells: Sequence[WeatherSpell], day: date, zone: ZoneInfo, *, now: datetime
) -> DayWeather | None:
    """What is told of the day's working hours from now on; None where nothing is."""
    first = max(local_moment(day, WORK_FROM, zone), now.astimezone(zone))
    last = local_moment(day, WORK_UNTIL, zone)
    work = within(spells, first, last) if first < last else []
    if not work:
        return None
    air = [spell.air_c for spell in work]
    night = within(spells, last, last + NIGHT_HOURS)
    return DayWeather(
        day=day,
        starts_at=max(first, work[0].starts_at.astimezone(zone)),
        ends_at=min(last, work[-1].ends_at.astimezone(zone)),
        lowest_c=min(air),
        highest_c=max(air),
        rain=rain_spans(work, first, last, zone),
        is_rain_known=all(spell.rain_mm is not None for spell in work),
        is_hourly=all(spell.hours <= 1 for spell in work),
        night_c=min((spell.air_c for spell in night), default=None),
        night_mm=sum(span.rain_mm for span in rain_spans(night, last, last + NIGHT_HOURS, zone)),
    )


def rain_spans(
    spells: Iterable[WeatherSpell], first: datetime, last: datetime, zone: ZoneInfo
) -> list[RainSpan]:
    """Of rainy spells between two moments; the rain of one that reaches beyond is shared out."""
    found: list[RainSpan] = []
    for spell in filter(is_rainy, spells):
        starts_at = max(spell.starts_at, first.astimezone(UTC))
        ends_at = min(spell.ends_at, last.astimezone(UTC))
        rain_mm = (spell.rain_mm or 0) * ((ends_at - starts_at) / timedelta(hours=spell.hours))
        if found and found[-1].ends_at == starts_at:
            before = found.pop()
            starts_at = before.starts_at
            rain_mm += before.rain_mm
        found.append(RainSpan(starts_at.astimezone(zone), ends_at.astimezone(zone), rain_mm))
    return found
