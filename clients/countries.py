"""Countries, currencies and time zones to choose from."""

from functools import cache
from zoneinfo import available_timezones

from babel import Locale
from babel.core import UnknownLocaleError
from babel.numbers import get_territory_currencies
from django.core.exceptions import ValidationError

NON_COUNTRY_CODES = {"EU", "EZ", "QO", "UN", "XA", "XB", "ZZ"}
NON_TOWN_ZONE_PREFIXES = (
    "Etc/",
    "SystemV/",
    "posix",
    "right",
    "US/",
    "Canada/",
    "Brazil/",
    "Chile/",
    "Mexico/",
)


@cache
def country_choices() -> list[tuple[str, str]]:
    """(two letters, English name), by name; ISO 3166-1 as the Unicode CLDR lists it."""
    names = Locale("en").territories
    found = [(code, name) for code, name in names.items() if len(code) == 2 and code.isalpha()]
    return sorted(
        [pair for pair in found if pair[0] not in NON_COUNTRY_CODES], key=lambda pair: pair[1]
    )


@cache
def zone_choices() -> list[tuple[str, list[tuple[str, str]]]]:
    """The time zones named after a town, by continent."""
    continents: dict[str, list[tuple[str, str]]] = {}
    for name in sorted(available_timezones()):
        continent, _, town = name.partition("/")
        if town and not name.startswith(NON_TOWN_ZONE_PREFIXES):
            continents.setdefault(continent, []).append(
                (name, town.replace("_", " ").replace("/", ", "))
            )
    return list(continents.items())


def currency_of(country: str) -> str:
    """The currency in use there today (CLDR); CAD where nothing is known."""
    return next(iter(get_territory_currencies(country)), "CAD")


def english_locale(country: str) -> str:
    """English as it is written there, if anybody does."""
    return f"en-{country}" if is_locale(f"en-{country}") else "en"


def is_locale(text: str) -> bool:
    try:
        Locale.parse(text, sep="-")
    except (UnknownLocaleError, ValueError):
        return False
    return True


def validate_time_zone(name: str) -> None:
    """Refuse a name that the database of time zones does not know."""
    if name not in available_timezones():
        raise ValidationError(
            f"“{name}” is not a time zone. Use a name such as America/Halifax.", code="time_zone"
        )
