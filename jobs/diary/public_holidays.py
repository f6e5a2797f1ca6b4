"""Public holidays of a country and its region, by the `holidays` library."""

from collections.abc import Iterable
from datetime import date
from functools import lru_cache

import holidays

HolidayRegion = tuple[str, str]  # country by two letters, region by name or code


def public_holiday_names(
    regions: Iterable[HolidayRegion], first: date, last: date
) -> dict[date, str]:
    """Each public holiday from the first to the last day at any of these places, with its name."""
    found: dict[date, str] = {}
    for country, region in regions:
        for year in range(first.year, last.year + 1):
            found |= {
                day: name
                for day, name in public_holidays_of_year(country, region, year).items()
                if first <= day <= last
            }
    return found


@lru_cache(maxsize=512)
def public_holidays_of_year(country: str, region: str, year: int) -> dict[date, str]:
    """Empty for a country the library does not know;
    without those of the region if only that is unknown."""
    if country not in holidays.list_supported_countries():
        return {}
    whole = holidays.country_holidays(country)
    code = next(
        (code for code in whole.subdivisions if is_subdivision_called(whole, code, region)), None
    )
    language = "en_US" if "en_US" in whole.supported_languages else None
    return dict(
        holidays.country_holidays(country, subdiv=code, years=year, language=language).items()
    )


def is_subdivision_called(whole: holidays.HolidayBase, code: str, region: str) -> bool:
    known = [code, *whole.get_subdivision_aliases().get(code, [])]
    return region.strip().casefold() in [name.casefold() for name in known]
