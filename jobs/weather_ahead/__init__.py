"""The weather of the days ahead, from the source that the owner names: asked by the worker, read,
and put into words. What it means for a product is a matter of `jobs/scope`."""

from jobs.weather_ahead.day_weather import (
    WORK_FROM,
    WORK_UNTIL,
    DayWeather,
    is_rainy,
    local_moment,
    within,
)
from jobs.weather_ahead.expected_days import ExpectedDays, WeatherCredit, read_expected_weather
from jobs.weather_ahead.fetching import DAYS_AHEAD, fetch_expected_weather
from jobs.weather_ahead.spells import ForecastError, WeatherSpell, read_forecast

__all__ = [
    "DAYS_AHEAD",
    "WORK_FROM",
    "WORK_UNTIL",
    "DayWeather",
    "ExpectedDays",
    "ForecastError",
    "WeatherCredit",
    "WeatherSpell",
    "fetch_expected_weather",
    "is_rainy",
    "local_moment",
    "read_expected_weather",
    "read_forecast",
    "within",
]
