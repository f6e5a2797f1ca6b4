"""The normal weather of any spot on earth:
temperature, rain, sunshine and an estimate of wet days by month, and its height above the sea.

Measured on the shipped table (tests/clients/test_places.py repeats the checks):

* temperature: against CHELSA at 270 cities, +0.5 ± 0.45 °C and never off by more than 2.6 (later
years than there); without regard to height it was ± 1.0 and 6.9;
* rain: yearly sum against the same cities, median ratio 1.05, nine in ten between 0.69 and 1.62;
* sunshine hours a year: each listed place from the others, standard deviation 7 % within 500 km of
one, 8 % overall;
  but the modelled list itself lies 13 % (standard deviation) from twelve measured normals, which
  therefore replace it nearby. Half of such an error reaches the radiation;
* share of sunshine in a month: twenty-two monthly series, root mean square 0.06 (0.10 if spread
evenly), each series
  left out of the fit in turn;
* radiation by FAO-56 eq. 35 from these shares: twelve typical-year files, +4 ± 4 % in the year
(Miami +15 %), root mean
  square 8 % of a mean month in a month;
* wet days a year: ten towns in London and New Zealand, 11 %; inland, where as much rain falls on
fewer days and the grid has too much of it near mountains, a fifth to three fifths too many (Chur,
Budapest, Huesca, Longmont).

The sea is in the grid as well as the land, so no shore is without a value; half a degree blurs the
two.
"""

from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
import scipy  # whose parts load themselves when they are used
from numpy.typing import ArrayLike, NDArray

from clients.places.tables import CLIMATE_FILE

EARTH_RADIUS_KM = 6371.0088


def unit_vectors(latitude: ArrayLike, longitude: ArrayLike) -> NDArray[np.float64]:
    """Points on the unit sphere; straight distances between them know no date line."""
    phi = np.radians(latitude)
    theta = np.radians(longitude)
    return np.stack(
        [np.cos(phi) * np.cos(theta), np.cos(phi) * np.sin(theta), np.sin(phi)], axis=-1
    )


def chord_to_km(chord: ArrayLike) -> Any:
    """Great-circle distance from the straight distance between unit vectors."""
    return 2 * EARTH_RADIUS_KM * np.arcsin(np.clip(np.asarray(chord) / 2, 0, 1))


def distance_km(
    latitude: ArrayLike, longitude: ArrayLike, other_latitude: ArrayLike, other_longitude: ArrayLike
) -> Any:
    """Great-circle distance."""
    gap = unit_vectors(latitude, longitude) - unit_vectors(other_latitude, other_longitude)
    return chord_to_km(np.linalg.norm(gap, axis=-1))


def validate_coordinates(
    latitude: ArrayLike, longitude: ArrayLike
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Both as arrays of one shape, the longitude brought into −180…180."""
    north, east = np.broadcast_arrays(
        np.atleast_1d(np.asarray(latitude, dtype=float)),
        np.atleast_1d(np.asarray(longitude, dtype=float)),
    )
    wrong = ~(np.abs(north) <= 90)
    if wrong.any():
        raise ValueError(f"latitude must lie between −90 and 90, not {north[wrong][0]}")
    if not np.isfinite(east).all():
        raise ValueError(f"longitude must be a number, not {east[~np.isfinite(east)][0]}")
    return north, (east + 180) % 360 - 180


Floats = NDArray[np.float32]

DAYS_IN_MONTH = np.array([31, 28.25, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31], dtype=np.float32)
CHUNK = 16_384  # rows whose intermediate arrays stay near the processor
CELLS_A_DEGREE = 2
PIXELS_A_DEGREE = 12  # of the heights: five minutes of arc
STEP_M = 28  # of the heights, from 450 m below the sea (pvlib's lookup_altitude)
LOWEST_M = -450
NO_HEIGHT = 255  # nearly all of it is sea
LAPSE_C_A_M = 0.0065  # air cools as the ground rises: ISO 2533 standard atmosphere

# Four neighbours, weighed by the inverse square of the distance: the best of those tried by leaving
# each city out.
NEIGHBOURS = 4
SOFTENING_KM = 10.0

# Days with 1 mm or more from the month's rain P in mm: W = a·P^0.45, the form of New, Hulme & Jones
# (J. Climate 13, 2000, from memory). The factor is the mean of ten towns (London 1971–2000, Met
# Office; Auckland, Kaitaia, Whangarei, Tauranga, Hamilton, Rotorua, Gisborne, Taupo, New Plymouth,
# NIWA), each on the rain of this grid.
WET_DAY_FACTOR = np.float32(1.30)
WET_DAY_POWER = np.float32(0.45)

# A month's share of sunshine goes with the height of its sun and against its rain. Both exponents
# fitted to eight Canadian monthly series, Auckland's, and thirteen typical-year radiation files
# (FAO-56 eq. 35 turned round).
SUN_HEIGHT_POWER = 0.6
RAIN_POWER = np.float32(-0.2)
RAIN_OFFSET_MM = np.float32(15)


@dataclass(frozen=True, slots=True)
class Normals:
    """The normal year of n spots; twelve columns are January to December, in the seasons of each
    spot's own half."""

    height_m: Floats  # (n,), of the ground within some 9 km, above the sea; 0 below it
    temperature_c: Floats  # (n, 12), at that height
    rain_mm: Floats  # (n, 12), snow as water
    sunshine_fraction: Floats  # (n, 12), hours of sunshine over hours of daylight
    sunshine_hours: Floats  # (n,), a year
    sunshine_distance_km: Floats  # (n,), to the nearest place whose sunshine is known
    wet_days: (
        Floats  # (n, 12), days with 1 mm or more: always an estimate, a local figure is better
    )


@dataclass(frozen=True, slots=True)
class _ClimateTable:
    # (latitudes, longitudes, 24): temperature at the level of the sea [0.1 °C], then rain [mm];
    # whole numbers take half of the memory
    grid: NDArray[np.int16]
    height_steps: NDArray[np.uint8]  # (latitudes, longitudes), from north and 180° west
    stations: "scipy.spatial.cKDTree"
    station_hours: Floats


GRID_SCALE = np.repeat(np.array([10, 1], dtype=np.float32), 12)


def _unpack_grid(differences: NDArray[np.int16]) -> NDArray[np.int16]:
    return np.moveaxis(np.cumsum(differences, axis=-1, dtype=np.int16), 0, -1)


@cache
def _climate_table() -> _ClimateTable:
    with np.load(CLIMATE_FILE) as file:
        grid = np.concatenate(
            [_unpack_grid(file["temperature"]), _unpack_grid(file["rain"])], axis=-1
        )
        sunshine = file["sunshine"]
        steps = np.cumsum(file["height"], axis=-1, dtype=np.uint8)
    stations = scipy.spatial.cKDTree(unit_vectors(sunshine[:, 0], sunshine[:, 1]))
    return _ClimateTable(grid, steps, stations, sunshine[:, 2])


def normals(latitude: ArrayLike, longitude: ArrayLike) -> Normals:
    """The normal year at one spot or at many, in degrees; poles and date line included."""
    north, east = validate_coordinates(latitude, longitude)
    n = len(north)
    out = Normals(
        *(np.empty(shape, np.float32) for shape in (n, (n, 12), (n, 12), (n, 12), n, n, (n, 12)))
    )
    for start in range(0, n, CHUNK):
        _fill_rows(out, slice(start, start + CHUNK), north, east)
    return out


def _fill_rows(
    out: Normals, rows: slice, north: NDArray[np.float64], east: NDArray[np.float64]
) -> None:
    weather = _interpolated(north[rows], east[rows])
    rain = np.maximum(weather[:, 12:], 0)
    hours, distance = _sunshine(north[rows], east[rows])
    height = _ground(north[rows], east[rows])
    out.height_m[rows] = height
    out.temperature_c[rows] = weather[:, :12] - np.float32(LAPSE_C_A_M) * height[:, None]
    out.rain_mm[rows] = rain
    out.wet_days[rows] = estimated_wet_days(rain)
    out.sunshine_hours[rows] = hours
    out.sunshine_distance_km[rows] = distance
    out.sunshine_fraction[rows] = _sunshine_fraction(hours, rain, north[rows])


def _interpolated(north: NDArray[np.float64], east: NDArray[np.float64]) -> Floats:
    """Bilinear; the longitude wraps round, and a pole is the last row of the grid."""
    grid = _climate_table().grid
    down = (90 - north) * CELLS_A_DEGREE
    right = (east % 360) * CELLS_A_DEGREE
    row = np.minimum(down.astype(int), grid.shape[0] - 2)
    column = right.astype(int)
    south = (down - row).astype(np.float32)[:, None]
    across = (right - column).astype(np.float32)[:, None]
    west = column % grid.shape[1]
    next_east = (column + 1) % grid.shape[1]

    def at(rows: NDArray[np.intp], columns: NDArray[np.intp]) -> Floats:
        return grid[rows, columns].astype(np.float32) / GRID_SCALE

    upper = at(row, west) * (1 - across) + at(row, next_east) * across
    lower = at(row + 1, west) * (1 - across) + at(row + 1, next_east) * across
    return upper * (1 - south) + lower * south


def heights_in_m(steps: NDArray[np.uint8]) -> Floats:
    """Steps of the table as metres; the sea, and what lies below it, as 0."""
    metres = steps * np.float32(STEP_M) + np.float32(LOWEST_M)
    return np.where(steps == NO_HEIGHT, np.float32(0), np.maximum(metres, 0))


def pixels_about(
    heights: NDArray[Any], north: NDArray[np.float64], east: NDArray[np.float64]
) -> tuple[NDArray[Any], Floats]:
    """The four pixels about each spot and the weight of each; the longitude wraps round."""
    down = (90 - north) * PIXELS_A_DEGREE - 0.5
    right = ((east + 180) % 360) * PIXELS_A_DEGREE - 0.5
    row = np.clip(np.floor(down).astype(int), 0, heights.shape[0] - 2)
    column = np.floor(right).astype(int)
    south = np.clip(down - row, 0, 1).astype(np.float32)
    across = (right - column).astype(np.float32)
    corners = [
        (heights[row + below, (column + beside) % heights.shape[1]], part * share)
        for below, part in ((0, 1 - south), (1, south))
        for beside, share in ((0, 1 - across), (1, across))
    ]
    found, weights = zip(*corners, strict=True)
    return np.stack(found), np.stack(weights)


def _ground(north: NDArray[np.float64], east: NDArray[np.float64]) -> Floats:
    """Where people live: half-way from the mean of the ground about to the lowest of it, for towns
    lie in the valleys (of five rules tried that nearest to the temperatures of 270 cities)."""
    steps, weights = pixels_about(_climate_table().height_steps, north, east)
    metres = heights_in_m(steps)
    return ((metres * weights).sum(axis=0) + metres.min(axis=0)) / 2


def _sunshine(north: NDArray[np.float64], east: NDArray[np.float64]) -> tuple[Floats, Floats]:
    """Hours of sunshine a year, and how far the nearest known place is."""
    table = _climate_table()
    chords, neighbours = table.stations.query(unit_vectors(north, east), k=NEIGHBOURS)
    distance = chord_to_km(chords)
    weight = (distance + SOFTENING_KM) ** -2
    hours = (weight * table.station_hours[neighbours]).sum(axis=1) / weight.sum(axis=1)
    return hours.astype(np.float32), distance[:, 0].astype(np.float32)


def estimated_wet_days(rain_mm: ArrayLike) -> Floats:
    """Days with 1 mm or more: never more than the month has, nor more than its millimetres."""
    rain = np.asarray(rain_mm, dtype=np.float32)
    return np.minimum(np.minimum(WET_DAY_FACTOR * rain**WET_DAY_POWER, DAYS_IN_MONTH), rain)


def _sunshine_fraction(hours: Floats, rain: Floats, north: NDArray[np.float64]) -> Floats:
    """The year's hours spread over its months, so that fraction × daylight adds up to them
    again."""
    daylight, height = _daylight_and_height(north)
    shape = height * (rain + RAIN_OFFSET_MM) ** RAIN_POWER
    even = hours / (shape * daylight).sum(axis=1)
    return np.clip(shape * even[:, None], 0, 1)


@cache
def _sky_by_latitude() -> tuple[Floats, Floats]:
    """Hours of daylight a month and the sun-height factor, by whole degrees from the south pole to
    the north.

    FAO-56 eq. 21, 23–25 and 34 on every day of a plain year.
    """
    phi = np.radians(np.clip(np.arange(-90, 91), -89.5, 89.5))[:, None]
    day = np.arange(1, 366)
    tilt = 0.409 * np.sin(2 * np.pi * day / 365 - 1.39)
    sunset = np.arccos(np.clip(-np.tan(phi) * np.tan(tilt), -1, 1))
    nearness = 1 + 0.033 * np.cos(2 * np.pi * day / 365)
    sunlight = nearness * (
        sunset * np.sin(phi) * np.sin(tilt) + np.cos(phi) * np.cos(tilt) * np.sin(sunset)
    )
    starts = np.cumsum([0, 31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30])
    hours = np.add.reduceat(24 / np.pi * sunset, starts, axis=1)
    height = np.add.reduceat(sunlight, starts, axis=1) / np.maximum(hours, 1e-6)
    factor = np.maximum(height, 1e-3) ** SUN_HEIGHT_POWER
    return hours.astype(np.float32), factor.astype(np.float32)


def _daylight_and_height(north: NDArray[np.float64]) -> tuple[Floats, Floats]:
    hours, height = _sky_by_latitude()
    below = np.minimum((north + 90).astype(int), 179)
    part = (north + 90 - below).astype(np.float32)[:, None]
    daylight, factor = (
        table[below] * (1 - part) + table[below + 1] * part for table in (hours, height)
    )
    return daylight, factor
