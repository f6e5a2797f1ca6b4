"""The expected weather of a visit, on pages that show many."""

from datetime import date
from typing import Any

from django import template

from jobs.models import Booking

register = template.Library()


@register.simple_tag
def weather_of(weather: Any, booking: Booking, day: date) -> Any:
    """`{% weather_of weather stop.booking day.day as seen %}`: what `jobs/scope` read of it."""
    return weather.of(booking, day)
