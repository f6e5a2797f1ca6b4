"""Public holidays where a telephone rings and where a crew works, by the `holidays` library.

It knows regions by code (ISO 3166-2) and by native names, the town table by those of GeoNames:
`region_codes.toml` brings them together.
"""

import tomllib
import unicodedata
from collections.abc import Iterable, Mapping
from datetime import date
from functools import cache, lru_cache
from pathlib import Path
from typing import Any, NamedTuple

import holidays

CODES_FILE = Path(__file__).parent / "region_codes.toml"


class HolidayPlace(NamedTuple):
    """Country by two letters, region by name or code, town by name where it matters."""

    country: str
    region: str = ""
    town: str = ""


def public_holidays_between(
    places: Iterable[HolidayPlace], first: date, last: date
) -> dict[date, str]:
    """Each public holiday from the first to the last day at any of these places, with its name."""
    return {
        day: name
        for place in places
        for year in range(first.year, last.year + 1)
        for day, name in public_holidays(place, year).items()
        if first <= day <= last
    }


@lru_cache(maxsize=1024)
def public_holidays(place: HolidayPlace, year: int) -> Mapping[date, str]:
    """Day → name in English, those of the region and town too; empty for a country that the
    library does not know, without those of the region if only that is unknown."""
    if place.country not in supported_countries():
        return {}
    codes = dict.fromkeys([region_code(place), town_code(place)])
    found: dict[date, str] = {}
    for code in codes:
        found |= days_of_subdivision(place.country, code, year)
    return found


@lru_cache(maxsize=1024)  # most towns of a region have the days of the region
def days_of_subdivision(country: str, code: str | None, year: int) -> Mapping[date, str]:
    """Of the country alone without a code. A day may be moved out of the year before or after."""
    known = holidays.country_holidays(country)
    language = "en_US" if "en_US" in known.supported_languages else None
    years = [year, year + 1]
    found = holidays.country_holidays(country, subdiv=code, years=years, language=language)
    return {day: name for day, name in found.items() if day.year == year}


@cache
def supported_countries() -> frozenset[str]:
    return frozenset(holidays.list_supported_countries())


def region_code(place: HolidayPlace) -> str | None:
    """The code of the region, None if there is none of that name."""
    return region_names_of(place.country).get(fold_region_name(place.region))


def loses_regional_holidays(place: HolidayPlace) -> bool:
    """Whether regions of its country have days of their own and this one is not known."""
    has_regions = bool(region_names_of(place.country))
    return has_regions and place.country not in region_codes()["none"] and not region_code(place)


def town_code(place: HolidayPlace) -> str | None:
    """The code under which the library has the days of this town alone, None for most."""
    towns = region_codes()["towns"].get(place.country)
    if not towns or not place.town:
        return None
    known = {fold_region_name(name): code for name, code in towns.items()}
    native = region_names_of(place.country) if place.country == "IT" else {}
    wanted = fold_region_name(place.town)
    return known.get(wanted) or native.get(wanted)


@lru_cache(maxsize=4096)
def town_with_days(country: str, town: str) -> str:
    """The town if it has days of its own, else empty: most towns of a region are one place."""
    return town if town_code(HolidayPlace(country, town=town)) else ""


@cache
def region_names_of(country: str) -> dict[str, str]:
    """Name, folded → code: ours, the library's native names, and the codes themselves."""
    kind = getattr(holidays, country, None)
    if kind is None or country not in supported_countries():
        return {}
    ours = region_codes()["regions"].get(country, {})
    native = getattr(kind, "subdivisions_aliases", {})
    names = {fold_region_name(name): code for name, code in {**ours, **native}.items()}
    return names | {fold_region_name(code): code for code in kind.subdivisions}


@cache
def region_name(country: str, code: str) -> str:
    """The library's first name of a region, which is English where it has several; else the
    code."""
    native = getattr(getattr(holidays, country, None), "subdivisions_aliases", {})
    return next((str(name) for name, known in native.items() if known == code), code)


@cache
def region_codes() -> dict[str, Any]:
    return tomllib.loads(CODES_FILE.read_text(encoding="utf-8"))


def fold_region_name(text: str) -> str:
    """Without accents, capitals, dashes and doubled spaces, as people type names."""
    letters = unicodedata.normalize("NFKD", text)
    bare = "".join(each for each in letters if not unicodedata.combining(each))
    return " ".join(bare.replace("-", " ").replace(".", "").replace("’", "'").casefold().split())
