"""What a weather service told: read by the documented format, refused with a reason, and a day of
it in words."""

import json
from collections.abc import Iterator
from copy import deepcopy
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from clients.display import override_business
from clients.models import Business
from jobs.weather_ahead import ForecastError, WeatherSpell, read_forecast
from jobs.weather_ahead.day_weather import day_weather
from jobs.weather_ahead.spells import spells_as_rows, spells_from_rows
from jobs.work import dew_point_c
from tests.jobs.told_weather import HOUR, LUNENBURG, moment, rain_from, told

HALIFAX = ZoneInfo("America/Halifax")
NOW = datetime(2027, 6, 7, 9, tzinfo=UTC)  # six in the morning there, a Monday
MONDAY = date(2027, 6, 7)
# The first moment of the example in “General point forecast JSON format”, MET Norway, with what we
# read of it; the second moment is ours, for the excerpt ends there.
PUBLISHED = {
    "type": "Feature",
    "geometry": {"type": "Point", "coordinates": [10, 60.1, 267]},
    "properties": {
        "meta": {
            "updated_at": "2020-06-10T13:04:26Z",
            "units": {
                "air_temperature": "celsius",
                "dew_point_temperature": "celsius",
                "precipitation_amount": "mm",
                "relative_humidity": "%",
                "wind_speed": "m/s",
            },
        },
        "timeseries": [
            {
                "time": "2020-06-10T13:00:00Z",
                "data": {
                    "instant": {
                        "details": {
                            "air_pressure_at_sea_level": 1020.5,
                            "air_temperature": 20.7,
                            "dew_point_temperature": 9.5,
                            "relative_humidity": 48.6,
                            "wind_speed": 2.5,
                        }
                    },
                    "next_12_hours": {
                        "summary": {"symbol_code": "partlycloudy_day"},
                        "details": {"probability_of_precipitation": 2.2},
                    },
                    "next_1_hours": {
                        "summary": {"symbol_code": "partlycloudy_day"},
                        "details": {"precipitation_amount": 0.0},
                    },
                    "next_6_hours": {
                        "summary": {"symbol_code": "partlycloudy_day"},
                        "details": {"air_temperature_max": 20.7, "precipitation_amount": 0.0},
                    },
                },
            },
            moment(datetime(2020, 6, 10, 14, tzinfo=UTC), 20.1, 50.0),
        ],
    },
}


@pytest.fixture(autouse=True)
def _metric() -> Iterator[None]:
    with override_business(Business(locale="en-CA", units="metric")):
        yield


def read(forecast: Any, *, now: datetime = NOW) -> list[WeatherSpell]:
    latitude, longitude = LUNENBURG
    content = forecast if isinstance(forecast, bytes) else json.dumps(forecast).encode()
    return read_forecast(content, latitude=latitude, longitude=longitude, now=now)


def words(forecast: dict[str, Any], day: date = MONDAY, now: datetime = NOW) -> str:
    seen = day_weather(read(forecast), day, HALIFAX, now=now)
    return seen.words.replace("\u202f", " ") if seen else ""


def local(hour: int, day: int = 7) -> datetime:
    return datetime(2027, 6, day, hour, tzinfo=HALIFAX)


def test_the_documented_example_is_read_and_its_dew_point_is_ours() -> None:
    now = datetime(2020, 6, 10, 13, 5, tzinfo=UTC)

    found = read_forecast(json.dumps(PUBLISHED).encode(), latitude=60.1, longitude=10.0, now=now)

    assert found == [
        WeatherSpell(datetime(2020, 6, 10, 13, tzinfo=UTC), 1.0, 20.7, 48.6, 0.0),
    ]
    # the example tells it: 9.5 °C
    assert dew_point_c(found[0].air_c, found[0].humidity_percent) == pytest.approx(9.5, abs=0.05)


def test_hours_come_first_and_six_at_a_time_after_them_without_a_gap() -> None:
    found = read(told(NOW, rain=lambda at: 0.5))

    assert [spell.hours for spell in found] == [1.0] * 60 + [6.0] * 30
    assert all(one.ends_at == other.starts_at for one, other in pairwise(found))
    assert [found[0].rain_mm, found[60].rain_mm] == [0.5, 3.0]
    assert spells_from_rows(json.loads(json.dumps(spells_as_rows(found)))) == found


def test_where_hours_end_before_six_are_told_the_rain_is_not_known() -> None:
    """“There are no next_X_hours object unless there are actually X more hours left”, which also
    applies “for the transition from short term to long term” (General point forecast JSON format).
    """
    forecast = told(NOW, hourly=3)
    del forecast["properties"]["timeseries"][2]["data"]["next_1_hours"]

    found = read(forecast)

    assert [spell.rain_mm for spell in found[:4]] == [0.0, 0.0, None, 0.0]
    assert "dry" not in words(forecast, now=NOW + HOUR)


def spoiled(path: str, value: Any) -> dict[str, Any]:
    """A good answer with one thing put in the place of another; “-” takes it out."""
    forecast = deepcopy(told(NOW))
    *way, last = path.split(".")
    part: Any = forecast
    for step in way:
        part = part[int(step) if isinstance(part, list) else step]
    if value == "-":
        del part[last]
    else:
        part[int(last) if isinstance(part, list) else last] = value
    return forecast


AIR = "properties.timeseries.5.data.instant.details.air_temperature"
WET = "properties.timeseries.5.data.next_1_hours.details.precipitation_amount"


@pytest.mark.parametrize(
    ("forecast", "why"),
    [
        (b"", "no forecast that we can read"),
        (b"<html>Welcome</html>", "no forecast that we can read"),
        (b"\xff\xfe\x00", "no forecast that we can read"),
        (b"[" * 100_000, "no forecast that we can read"),
        ({}, "geometry: Field required"),
        ([], "no forecast that we can read"),
        (spoiled("properties.timeseries", []), "timeseries"),
        (spoiled("properties.timeseries", {}), "timeseries"),
        (spoiled(AIR, float("nan")), "air_temperature: Input should be"),
        (spoiled(AIR, float("inf")), "air_temperature: Input should be"),
        (spoiled(AIR, "15.0"), "air_temperature: Input should be a valid number"),
        (spoiled(AIR, True), "air_temperature: Input should be a valid number"),
        (spoiled(AIR, None), "air_temperature: Input should be a valid number"),
        (spoiled(AIR, "-"), "air_temperature: Field required"),
        (spoiled(AIR, 288.1), "air_temperature: Input should be less than"),
        (spoiled(AIR.replace("air_temperature", "relative_humidity"), 130), "relative_humidity"),
        (spoiled(WET, -1), "precipitation_amount"),
        (spoiled(WET, 1e9), "precipitation_amount"),
        (spoiled("properties.timeseries.5.time", "soon"), "time"),
        (spoiled("properties.timeseries.5.time", "2027-06-07T14:00:00"), "timezone"),
        (spoiled("properties.timeseries.5.time", 7), "time"),
        (spoiled("properties.meta.units.air_temperature", "fahrenheit"), "in fahrenheit"),
        (spoiled("geometry.coordinates", [64.31, 44.38]), "another place"),
        (spoiled("geometry.coordinates", [1]), "coordinates"),
        (told(NOW - timedelta(days=400)), "nothing of the hours ahead"),
        (told(NOW + timedelta(days=400)), "nothing of the hours ahead"),
    ],
)
def test_what_is_no_forecast_is_refused_with_the_reason(forecast: Any, why: str) -> None:
    with pytest.raises(ForecastError) as caught:
        read(forecast)

    assert why in str(caught.value)
    assert len(str(caught.value)) <= 300


@given(st.binary(max_size=200))
def test_whatever_bytes_come_they_are_refused(content: bytes) -> None:
    with pytest.raises(ForecastError):
        read(content)


SCALARS = st.none() | st.booleans() | st.floats() | st.integers() | st.text(max_size=20)
ANY_JSON = (
    SCALARS
    | st.lists(SCALARS, max_size=3)
    | st.dictionaries(st.text(max_size=8), SCALARS, max_size=3)
)
PLACES = [
    *("geometry", "geometry.coordinates", "geometry.coordinates.0", "properties"),
    *("properties.meta", "properties.meta.units", "properties.timeseries"),
    *("properties.timeseries.0", "properties.timeseries.3.time", "properties.timeseries.3.data"),
    *(AIR, WET, "properties.timeseries.5.data.instant", "properties.timeseries.5.data"),
]


@given(st.sampled_from(PLACES), ANY_JSON)
def test_whatever_stands_in_an_answer_it_is_read_or_refused(path: str, value: Any) -> None:
    try:
        found = read(spoiled(path, value))
    except ForecastError:
        return
    assert all(-90 <= spell.air_c <= 57 and 0 < spell.hours <= 6 for spell in found)
    assert all(spell.rain_mm is None or 0 <= spell.rain_mm <= 1200 for spell in found)
    assert day_weather(found, MONDAY, HALIFAX, now=NOW)


@given(
    st.sampled_from(
        ["0001-01-01T00:00:00+14:00", "9999-12-31T23:59:59-14:00", "2027-06-07T14:00:00.000001Z"]
    )
)
def test_a_moment_at_the_end_of_time_breaks_nothing(written: str) -> None:
    assert read(spoiled("properties.timeseries.5.time", written))


@pytest.mark.parametrize(
    ("rain", "said"),
    [
        (lambda at: 0.0, "15 °C, dry; night down to 15 °C"),
        (lambda at: 0.1, "15 °C, dry; night down to 15 °C"),  # less than is taken for rain
        (
            rain_from(local(16)),
            "15 °C, dry until 4:00 p.m., then 3 mm of rain; night down to 15 °C",
        ),
        (
            rain_from(local(5), hours=4),
            "15 °C, 2 mm of rain until 9:00 a.m., then dry; night down to 15 °C",
        ),
        (
            rain_from(local(12), hours=2, mm=0.3),
            "15 °C, 0.6 mm of rain between 12:00 p.m. and 2:00 p.m.; night down to 15 °C",
        ),
        (lambda at: 1.0, "15 °C, rain all day, 12 mm; night down to 15 °C, 12 mm of rain"),
        (
            lambda at: float(at.hour in {10, 21}),  # seven and six in the evening there
            "15 °C, rain on and off, 2 mm; night down to 15 °C",
        ),
        (
            rain_from(local(2, day=8)),
            "15 °C, dry; night down to 15 °C, 3 mm of rain",
        ),
    ],
)
def test_a_day_is_said_in_plain_words_the_working_hours_first(rain: Any, said: str) -> None:
    assert words(told(NOW, rain=rain)) == said


def test_the_warmest_and_coldest_of_the_working_hours_and_of_the_night_count() -> None:
    by_hour = {7: 8.4, 14: 17.2, 23: 6.1, 4: 5.0}
    forecast = told(NOW, air=lambda at: by_hour.get(at.astimezone(HALIFAX).hour, 12.0))

    assert words(forecast) == "8 to 17 °C, dry; night down to 5 °C"
    # from noon on the cold of the morning is over
    assert words(forecast, now=local(12)) == "12 to 17 °C, dry; night down to 5 °C"
    assert words(forecast, now=local(20)) == ""
    assert words(forecast, date(2027, 6, 6)) == ""
    assert words(forecast, date(2027, 6, 25)) == ""


def test_days_further_off_are_said_less_exactly() -> None:
    """Their hours are told six at a time, from noon to six there."""
    forecast = told(NOW, rain=rain_from(datetime(2027, 6, 11, 15, tzinfo=UTC), hours=6))

    assert words(forecast, date(2027, 6, 11)) == (
        "15 °C, 6 mm of rain between about 12:00 p.m. and about 6:00 p.m.; night down to 15 °C"
    )


def test_in_us_units_it_is_fahrenheit_and_inches() -> None:
    with override_business(Business(locale="en-US", units="us")):
        said = words(told(NOW, rain=rain_from(local(16))))

    assert said == "59 °F, dry until 4:00 PM, then 0.12 in of rain; night down to 59 °F"


def test_the_day_has_the_clock_of_its_place_when_the_clock_is_changed() -> None:
    """On 7 November 2027 clocks in Halifax go back an hour (IANA database): seven is 11:00 UTC."""
    eve = datetime(2027, 11, 6, 9, tzinfo=UTC)
    rain = rain_from(datetime(2027, 11, 7, 20, tzinfo=UTC))
    found = read(told(eve, rain=rain), now=eve)

    seen = day_weather(found, date(2027, 11, 7), HALIFAX, now=eve)

    assert seen is not None
    assert seen.starts_at.astimezone(UTC).hour == 11
    assert "dry until 4:00" in seen.words
