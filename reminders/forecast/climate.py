"""Sun, wet days and moist air of a place, from latitude, sunshine hours, rain and temperature."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

SOLAR_CONSTANT = 0.0820  # MJ/m²·min, FAO-56 eq. 21
MONTH_DAYS = np.array([31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])
MONTH_OF_DAY = np.repeat(np.arange(12), MONTH_DAYS)
# Sun from sunshine hours reads about 5 % high against 1,195 typical-year stations (our own
# comparison).
SUNSHINE_BIAS = 0.96
# Wet days = a · rain^0.45 (form of New, Hulme & Jones 2000, from memory); a fitted to London,
# Lebanon NH, Richmond VA, Seattle and nine New Zealand towns: 1.14 to 1.71.
WET_DAY_FACTOR = 1.4
# WMO-No. 8
MAGNUS_A = 17.62
MAGNUS_B = 243.12


def _solar_angles(
    latitude: ArrayLike, day_of_year: ArrayLike
) -> tuple[Floats, Floats, Floats, Floats]:
    day = np.asarray(day_of_year, dtype=float)
    phi = np.radians(_require_within("latitude", latitude, -90, 90))
    distance = 1 + 0.033 * np.cos(2 * np.pi * day / 365)
    declination = 0.409 * np.sin(2 * np.pi * day / 365 - 1.39)
    # Beyond the polar circles the sun may not rise or set: the clip makes the day 0 or 24 hours
    # long.
    sunset = np.arccos(np.clip(-np.tan(phi) * np.tan(declination), -1, 1))
    return phi, distance, declination, sunset


def _require_within(name: str, value: ArrayLike, low: float, high: float) -> Floats:
    array = np.asarray(value, dtype=float)
    bad = ~((array >= low) & (array <= high))
    if bad.any():
        raise ValueError(f"{name} must lie between {low} and {high}; got {array[bad].flat[0]}")
    return array


def extraterrestrial_radiation(latitude: ArrayLike, day_of_year: ArrayLike) -> Floats:
    """Return the sun above the air on a horizontal plane (FAO-56 eq. 21).

    Parameters
    ----------
    latitude : array_like
        Degrees, south negative.
    day_of_year : array_like
        1 to 366.

    Returns
    -------
    ndarray
        MJ/m² a day.
    """
    phi, distance, declination, sunset = _solar_angles(latitude, day_of_year)
    beam = sunset * np.sin(phi) * np.sin(declination) + np.cos(phi) * np.cos(declination) * np.sin(
        sunset
    )
    # At the very pole the sum can come out a rounding error below nought.
    return np.maximum(24 * 60 / np.pi * SOLAR_CONSTANT * distance * beam, 0.0)


def daylight_hours(latitude: ArrayLike, day_of_year: ArrayLike) -> Floats:
    """Return the length of the day (FAO-56 eq. 34).

    Parameters
    ----------
    latitude : array_like
        Degrees, south negative.
    day_of_year : array_like
        1 to 366.

    Returns
    -------
    ndarray
        Hours.
    """
    return 24 / np.pi * _solar_angles(latitude, day_of_year)[3]


def radiation_from_sunshine(sunshine_share: ArrayLike, extraterrestrial: ArrayLike) -> Floats:
    """Return the sun on the ground from the share of possible sunshine (FAO-56 eq. 35).

    Parameters
    ----------
    sunshine_share : array_like
        Hours of bright sunshine over hours of daylight, 0 to 1.
    extraterrestrial : array_like
        Sun above the air, MJ/m² a day.

    Returns
    -------
    ndarray
        MJ/m² a day.
    """
    return (0.25 + 0.50 * _require_within("sunshine_share", sunshine_share, 0, 1)) * np.asarray(
        extraterrestrial, dtype=float
    )


def clear_sky_radiation(extraterrestrial: ArrayLike, elevation_m: ArrayLike = 0.0) -> Floats:
    """Return the sun on the ground under a clear sky (FAO-56 eq. 37).

    Parameters
    ----------
    extraterrestrial : array_like
        Sun above the air, MJ/m² a day.
    elevation_m : array_like
        Metres above the sea.

    Returns
    -------
    ndarray
        MJ/m² a day.
    """
    return (0.75 + 2e-5 * np.asarray(elevation_m, dtype=float)) * np.asarray(
        extraterrestrial, dtype=float
    )


def _month_means(by_day: Floats) -> Floats:
    edges = np.concatenate([[0], np.cumsum(MONTH_DAYS)[:-1]])
    return np.add.reduceat(by_day, edges, axis=1) / MONTH_DAYS


def monthly_radiation(
    latitude: ArrayLike, annual_sunshine_hours: ArrayLike, *, bias: float = SUNSHINE_BIAS
) -> Floats:
    """Return the monthly sun of places of which only the yearly hours of sunshine are known.

    Parameters
    ----------
    latitude : array_like
        Degrees of n places, south negative.
    annual_sunshine_hours : array_like
        Hours a year of the n places, 0 to 4380.
    bias : float
        Factor that takes out the known excess of eq. 35 with yearly sunshine.

    Returns
    -------
    ndarray, shape (n, 12)
        MJ/m² a day in each month.
    """
    place = np.atleast_1d(np.asarray(latitude, dtype=float))[:, None]
    above = _month_means(extraterrestrial_radiation(place, np.arange(1, 366)[None, :]))
    share = (
        np.atleast_1d(_require_within("annual_sunshine_hours", annual_sunshine_hours, 0, 4380))[
            :, None
        ]
        / 4380
    )
    return bias * radiation_from_sunshine(share, above)


def wet_days_from_rain(rain_mm: ArrayLike, *, factor: float = WET_DAY_FACTOR) -> Floats:
    """Estimate the days with rain in each month from its rain; an estimate, to be marked as one.

    Parameters
    ----------
    rain_mm : array_like, shape (..., 12)
        Millimetres in each month.
    factor : float
        Days at 1 mm; 1.1 to 1.7 over the stations it was fitted to.

    Returns
    -------
    ndarray, shape (..., 12)
        Days a month, never more than the month has.
    """
    return np.minimum(factor * _require_within("rain_mm", rain_mm, 0, 5000) ** 0.45, MONTH_DAYS)


def dew_point(temperature_c: ArrayLike, humidity: ArrayLike) -> Floats:
    """Return the dew point (Magnus form, constants of WMO-No. 8).

    Parameters
    ----------
    temperature_c : array_like
        Air temperature, °C.
    humidity : array_like
        Relative humidity, 0 (not included) to 1.

    Returns
    -------
    ndarray
        °C.
    """
    air = _require_within("temperature_c", temperature_c, -60, 60)
    gamma = np.log(_require_within("humidity", humidity, 1e-6, 1)) + MAGNUS_A * air / (
        MAGNUS_B + air
    )
    return MAGNUS_B * gamma / (MAGNUS_A - gamma)


def equilibrium_moisture_content(temperature_c: ArrayLike, humidity: ArrayLike) -> Floats:
    """Return the moisture that wood settles to (Wood Handbook FPL-GTR-190, eq. 4-5).

    Parameters
    ----------
    temperature_c : array_like
        Air temperature, °C.
    humidity : array_like
        Relative humidity, 0 to 1.

    Returns
    -------
    ndarray
        Per cent of the dry mass.
    """
    t = _require_within("temperature_c", temperature_c, -60, 100)
    h = _require_within("humidity", humidity, 0, 1)
    weight = 349 + 1.29 * t + 0.0135 * t**2
    # Some copies print −2.73e-7; converting the Fahrenheit set shows −2.73e-6 to be right.
    k = 0.805 + 0.000736 * t - 0.00000273 * t**2
    k1 = 6.27 - 0.00938 * t - 0.000303 * t**2
    k2 = 1.91 + 0.0407 * t - 0.000293 * t**2
    kh = k * h
    bound = (k1 * kh + 2 * k1 * k2 * kh**2) / (1 + k1 * kh + k1 * k2 * kh**2)
    return 1800 / weight * (kh / (1 - kh) + bound)


def scheffer_index(temperature_c: ArrayLike, wet_days: ArrayLike) -> Floats:
    """Return the climate index of Scheffer (1971) for decay above ground.

    The Fahrenheit form Σ (T − 35)(D − 3)/30 written exactly in °C; the rounded form reads 2 to 3 %
    less.

    Parameters
    ----------
    temperature_c : array_like, shape (..., 12)
        Mean of each month, °C.
    wet_days : array_like, shape (..., 12)
        Days with at least 0.25 mm in each month.

    Returns
    -------
    ndarray, shape (...)
        Below 35 low, 35 to 65 moderate, above 65 high.
    """
    warmth = np.maximum(_require_within("temperature_c", temperature_c, -90, 60) - 5 / 3, 0)
    wetness = np.maximum(_require_within("wet_days", wet_days, 0, 31) - 3, 0)
    return (warmth * wetness).sum(axis=-1) / (30 / 1.8)
