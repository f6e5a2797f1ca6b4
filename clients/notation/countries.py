"""Countries, currencies and time zones to choose from."""

from functools import cache
from importlib.resources import files
from zoneinfo import available_timezones

from babel import Locale
from babel.core import UnknownLocaleError
from babel.numbers import get_territory_currencies
from django.core.exceptions import ValidationError

NON_COUNTRY_CODES = {"EU", "EZ", "QO", "UN", "XA", "XB", "ZZ"}


@cache
def country_choices() -> list[tuple[str, str]]:
    """(two letters, English name), by name; ISO 3166-1 as the Unicode CLDR lists it."""
    names = Locale("en").territories
    found = [(code, name) for code, name in names.items() if len(code) == 2 and code.isalpha()]
    return sorted(
        [pair for pair in found if pair[0] not in NON_COUNTRY_CODES], key=lambda pair: pair[1]
    )


@cache
def zone_countries() -> dict[str, str]:
    """The country of each time zone that a person would choose (zone.tab of the tz database)."""
    lines = (files("tzdata.zoneinfo") / "zone.tab").read_text().splitlines()
    rows = [line.split("\t") for line in lines if line and not line.startswith("#")]
    return {row[2]: row[0] for row in rows}


@cache
def zone_choices() -> list[tuple[str, list[tuple[str, str]]]]:
    """Those time zones by continent, each called by its town."""
    continents: dict[str, list[tuple[str, str]]] = {}
    for name in sorted(zone_countries()):
        continent, _, town = name.partition("/")
        words = town.replace("_", " ").replace("/", ", ")
        continents.setdefault(continent, []).append((name, words))
    return list(continents.items())


@cache
def former_zone_names() -> dict[str, str]:
    """Other names of each of those zones, by spaces, as a browser may say one of them."""
    found: dict[str, str] = {}
    for line in (files("tzdata.zoneinfo") / "tzdata.zi").read_text().splitlines():
        kind, *words = line.split()
        if kind == "L" and words[0] in zone_countries() and words[1] not in zone_countries():
            found[words[0]] = f"{found.get(words[0], '')} {words[1]}".strip()
    return found


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
