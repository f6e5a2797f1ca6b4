"""Time zones by their IANA names."""

from zoneinfo import available_timezones

from django.core.exceptions import ValidationError


def validate_time_zone(name: str) -> None:
    """Refuse a name that the tz database does not know."""
    if name not in available_timezones():
        raise ValidationError(
            f"“{name}” is not a time zone. Use a name such as America/Halifax.", code="time_zone"
        )
