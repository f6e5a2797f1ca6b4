"""Distances on the globe, safe at the poles and at the date line."""

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

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
