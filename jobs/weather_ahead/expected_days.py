"""What is expected at some properties, read for a whole page at once."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from urllib.parse import urlsplit

from clients import display
from clients.models import Property
from jobs.models import ExpectedWeather, WeatherPosition, weather_position
from jobs.weather_ahead.day_weather import DayWeather, day_weather, tenths
from jobs.weather_ahead.spells import WeatherSpell, spells_from_rows

CC_BY = ("https://creativecommons.org/licenses/by/4.0/", "CC BY 4.0")
# How a source wants to be named, by the end of its host; MET Norway's licensing and data policy,
# read 30 November 2026: credit, a link to the licence, and whether something was changed
CREDITS = {"met.no": ("Data from MET Norway, put into words by us", CC_BY)}


@dataclass(frozen=True)
class WeatherCredit:
    """Where it is from, under which licence if one is known (address and name), and when the
    oldest of it was told."""

    words: str
    licence: tuple[str, str] | None
    fetched_at: datetime


@dataclass(frozen=True)
class ToldSpot:
    """The hours ahead of one spot."""

    spells: Sequence[WeatherSpell]
    source: str
    fetched_at: datetime


@dataclass(frozen=True)
class ExpectedDays:
    """By spot; empty where the owner names no source, or nothing new enough was told."""

    spots: Mapping[WeatherPosition, ToldSpot]
    now: datetime

    def __bool__(self) -> bool:
        return bool(self.spots)

    def spells_at(self, site: Property) -> Sequence[WeatherSpell]:
        spot = self.spots.get(weather_position(site))
        return spot.spells if spot else []

    def day_at(self, site: Property, day: date) -> DayWeather | None:
        return day_weather(self.spells_at(site), day, site.zone, now=self.now)

    def hour_words(self, site: Property) -> str:
        """“Mon, Jun 7, 2:00 p.m.: 14 °C and 62 % humidity” of the hour that it is; empty where
        nothing is told."""
        spells = [s for s in self.spells_at(site) if s.starts_at <= self.now < s.ends_at]
        if not spells:
            return ""
        begins = spells[0].starts_at.astimezone(site.zone)
        air = display.format_measure(tenths(spells[0].air_c), "temperature")
        day = display.format_weekday(begins)
        humidity = round(spells[0].humidity_percent)
        return f"{day}, {display.format_clock(begins)}: {air} and {humidity} % humidity"

    @property
    def credit(self) -> WeatherCredit | None:
        """Of all of it; None where nothing is told."""
        if not self.spots:
            return None
        oldest = min(self.spots.values(), key=lambda spot: spot.fetched_at)
        words, licence = credit_of_source(oldest.source)
        return WeatherCredit(words, licence, oldest.fetched_at)


def credit_of_source(source: str) -> tuple[str, tuple[str, str] | None]:
    host = urlsplit(source).hostname or ""
    for end, credit in CREDITS.items():
        if host == end or host.endswith(f".{end}"):
            return credit
    return f"Data from {host}, put into words by us", None


def read_expected_weather(sites: Collection[Property], *, now: datetime) -> ExpectedDays:
    """In one query; in none without a source."""
    asked = {weather_position(site) for site in sites}
    if not asked or not display.current_business().weather_source:
        return ExpectedDays({}, now)
    rows = ExpectedWeather.objects.shown(asked, now=now)
    spots = {
        row.position: ToldSpot(spells_from_rows(row.spells), row.source, row.fetched_at)
        for row in rows
        if row.fetched_at and row.position in asked
    }
    return ExpectedDays(spots, now)
