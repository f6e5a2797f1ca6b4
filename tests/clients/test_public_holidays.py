"""Public holidays by the region of the town: each region of the town table resolves, or is listed
as having no days of its own."""

import csv
import gzip
from datetime import date

import holidays
import pytest
from django.conf import settings

from clients.places.public_holidays import (
    HolidayPlace,
    days_of_subdivision,
    public_holidays,
    public_holidays_between,
    region_code,
    region_codes,
    town_with_days,
)


def regions_of_towns() -> set[tuple[str, str]]:
    table = settings.BASE_DIR / "clients" / "data" / "towns.csv.gz"
    with gzip.open(table, "rt", encoding="utf-8") as text:
        return {(row["country"], row["region"]) for row in csv.DictReader(text)}


def countries_with_regions() -> set[str]:
    return {country for country, codes in holidays.list_supported_countries().items() if codes}


def test_each_region_of_the_town_table_resolves_or_is_listed_as_having_none() -> None:
    known = countries_with_regions()
    listed = region_codes()["none"]
    lost = [
        (country, region)
        for country, region in sorted(regions_of_towns())
        if country in known
        and region_code(HolidayPlace(country, region)) is None
        and country not in listed
    ]
    assert lost == []


def test_each_code_of_the_table_is_one_of_the_library() -> None:
    codes = region_codes()
    for part in ("regions", "towns"):
        for country, names in codes[part].items():
            assert set(names.values()) <= set(getattr(holidays, country).subdivisions), country
    in_use = regions_of_towns()
    for country, names in codes["regions"].items():
        assert {(country, name) for name in names} <= in_use, country
    assert all(codes["none"].values())


@pytest.mark.parametrize("country", ["AM", "AT", "BE", "NL", "PL"])
def test_where_no_region_is_said_to_have_days_none_has(country: str) -> None:
    national = days_of_subdivision(country, None, 2027)
    for code in getattr(holidays, country).subdivisions:
        assert days_of_subdivision(country, code, 2027) == national


@pytest.mark.parametrize(
    ("place", "day"),
    [
        # Bayerisches Feiertagsgesetz Art. 1: Epiphany, Corpus Christi, All Saints
        (HolidayPlace("DE", "Bavaria"), date(2027, 1, 6)),
        (HolidayPlace("DE", "Bavaria"), date(2027, 5, 27)),
        (HolidayPlace("DE", "Bavaria"), date(2027, 11, 1)),
        (HolidayPlace("DE", "Bayern"), date(2027, 11, 1)),
        # New Zealand, provincial anniversaries: Wellington, the Monday nearest 22 January
        (HolidayPlace("NZ", "Wellington Region"), date(2027, 1, 25)),
        # Saint Ambrose, the patron of Milan, 7 December
        (HolidayPlace("IT", "Lombardy", "Milan"), date(2027, 12, 7)),
        (HolidayPlace("IT", "Lombardy", "Milano"), date(2027, 12, 7)),
        # Canton of Zurich, Ruhetags- und Ladenöffnungsgesetz § 1: 1 May, Whit Monday (memory)
        (HolidayPlace("CH", "Zurich"), date(2027, 5, 17)),
        # in the city also the boys' shooting, a Saturday and Sunday of September
        (HolidayPlace("CH", "Zurich", "Zürich"), date(2027, 9, 11)),
        # National day of Catalonia
        (HolidayPlace("ES", "Catalonia"), date(2027, 9, 11)),
        # Lisbon, Saint Anthony
        (HolidayPlace("PT", "Lisbon"), date(2027, 6, 13)),
    ],
)
def test_days_of_regions_that_were_lost_are_kept(place: HolidayPlace, day: date) -> None:
    assert day in public_holidays(place, 2027)
    assert day not in public_holidays(HolidayPlace(place.country), 2027)


def test_quiet_times_and_the_diary_ask_the_same() -> None:
    zurich = HolidayPlace("CH", "Zurich", "Winterthur")
    whole_year = public_holidays_between([zurich], date(2027, 1, 1), date(2027, 12, 31))
    assert whole_year == public_holidays(zurich, 2027)
    assert len(whole_year) >= 9


def test_a_neighbour_of_a_town_with_days_of_its_own_has_none_of_them() -> None:
    assert date(2027, 12, 7) not in public_holidays(HolidayPlace("IT", "Lombardy", "Lodi"), 2027)
    assert town_with_days("IT", "Milan") == "Milan"
    assert town_with_days("IT", "Bellagio") == town_with_days("CA", "Lunenburg") == ""
