"""Hours ahead as a weather service tells them, read and refused: pure, without a clock.

The answer is a point forecast in GeoJSON (RFC 7946) as MET Norway's Locationforecast 2.0 documents
it (“General point forecast JSON format”, “Locationforecast data model”, read 30 November 2026): an
instant every hour for some sixty hours, then every six, each with the rain of the time after it.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from typing import Annotated, Any

from pydantic import AwareDatetime, BaseModel, ConfigDict, Field, ValidationError

PAST_KEPT = timedelta(days=1)
FUTURE_KEPT = timedelta(days=12)
MAX_SPELL = timedelta(hours=6)
# Colder, hotter or wetter than was ever measured on earth (WMO archive of extremes, from memory:
# −89.2 °C, 56.7 °C, 1,144 mm in twelve hours), so it is a mistake.
AirCelsius = Annotated[float, Field(ge=-90, le=57)]
HumidityPercent = Annotated[float, Field(ge=0, le=100)]
RainMillimetres = Annotated[float, Field(ge=0, le=1200)]
EXPECTED_UNITS = {
    "air_temperature": "celsius",
    "relative_humidity": "%",
    "precipitation_amount": "mm",
}
MAX_DEGREES_AWAY = 1.0  # a grid of the source may be coarse


class ForecastError(ValueError):
    """An answer that is none; the message says why, for the owner."""


@dataclass(frozen=True)
class WeatherSpell:
    """One hour, or up to six, of expected weather: the air as it begins, the rain of all of it
    (None where the source does not tell)."""

    starts_at: datetime
    hours: float
    air_c: float
    humidity_percent: float
    rain_mm: float | None

    @property
    def ends_at(self) -> datetime:
        return self.starts_at + timedelta(hours=self.hours)


class ToldPart(BaseModel):
    """Numbers must be numbers, and finite; what else is told is passed over."""

    model_config = ConfigDict(strict=True, allow_inf_nan=False)


class ToldAir(ToldPart):
    air_temperature: AirCelsius
    relative_humidity: HumidityPercent


class ToldInstant(ToldPart):
    details: ToldAir


class ToldRain(ToldPart):
    precipitation_amount: RainMillimetres | None = None


class ToldPeriod(ToldPart):
    details: ToldRain = ToldRain()


class ToldData(ToldPart):
    instant: ToldInstant
    next_1_hours: ToldPeriod | None = None
    next_6_hours: ToldPeriod | None = None


class ToldMoment(ToldPart):
    time: AwareDatetime
    data: ToldData

    def rain_within(self, hours: float) -> float | None:
        """Of so many hours from here: a share of the hour, or of the six."""
        if self.data.next_1_hours and hours <= 1:
            told, length = self.data.next_1_hours, 1
        elif self.data.next_6_hours:
            told, length = self.data.next_6_hours, 6
        else:
            return None
        amount = told.details.precipitation_amount
        return None if amount is None else amount * hours / length


class ToldMeta(ToldPart):
    units: dict[str, str] = {}


class ToldProperties(ToldPart):
    meta: ToldMeta = ToldMeta()
    timeseries: list[ToldMoment] = Field(min_length=1, max_length=1000)


class ToldPoint(ToldPart):
    coordinates: list[float] = Field(min_length=2, max_length=3)


class ToldForecast(ToldPart):
    geometry: ToldPoint
    properties: ToldProperties


def read_forecast(
    content: bytes, *, latitude: float, longitude: float, now: datetime
) -> list[WeatherSpell]:
    """The hours of an answer about this spot, in order. Raises `ForecastError`."""
    try:
        told = ToldForecast.model_validate_json(content)
    except ValidationError as error:
        raise ForecastError(first_mistake(error)) from error
    for name, unit in EXPECTED_UNITS.items():
        said = told.properties.meta.units.get(name, unit)
        if said != unit:
            raise ForecastError(f"It tells {name} in {said[:20]}, and we read {unit} only.")
    east, north = told.geometry.coordinates[:2]
    if abs(north - latitude) > MAX_DEGREES_AWAY or degrees_apart(east, longitude) > 1:
        raise ForecastError("It answers for another place than was asked for.")
    moments = told.properties.timeseries
    near = [each for each in moments if now - PAST_KEPT < each.time < now + FUTURE_KEPT]
    found = list(spells_of_moments(near))
    if not any(spell.ends_at > now for spell in found):
        raise ForecastError("It tells nothing of the hours ahead.")
    return found


def degrees_apart(one: float, other: float) -> float:
    """Between two longitudes, round the earth the shorter way."""
    gap = abs(one - other) % 360
    return min(gap, 360 - gap)


def first_mistake(error: ValidationError) -> str:
    """Where the answer is not what it should be, and how."""
    mistake = error.errors(include_url=False, include_context=False)[0]
    where = ".".join(str(each) for each in mistake["loc"])
    words = f"{where}: {mistake['msg']}" if where else str(mistake["msg"])
    return f"Its answer is no forecast that we can read. {words}"[:280]


def spells_of_moments(moments: Iterable[ToldMoment]) -> Iterator[WeatherSpell]:
    """Each until the next; the last moment has no time after it. A moment that is told twice counts
    as it stands last."""
    by_time = {moment.time.astimezone(UTC): moment for moment in moments}
    ordered = sorted(by_time.items())
    for (starts_at, moment), (until, _) in pairwise(ordered):
        hours = min(until - starts_at, MAX_SPELL) / timedelta(hours=1)
        air = moment.data.instant.details
        yield WeatherSpell(
            starts_at,
            hours,
            air.air_temperature,
            air.relative_humidity,
            moment.rain_within(hours),
        )


def spells_as_rows(spells: Iterable[WeatherSpell]) -> list[list[Any]]:
    """For the book."""
    return [
        [
            spell.starts_at.isoformat(),
            spell.hours,
            spell.air_c,
            spell.humidity_percent,
            spell.rain_mm,
        ]
        for spell in spells
    ]


def spells_from_rows(rows: Sequence[Sequence[Any]]) -> list[WeatherSpell]:
    return [WeatherSpell(datetime.fromisoformat(starts_at), *rest) for starts_at, *rest in rows]
