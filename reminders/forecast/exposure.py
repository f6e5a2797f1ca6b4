"""From coats and their exposure to the numbers of the model: the sun of a place, from latitude and
sunshine hours, what of it reaches a deck, and the design matrix.

Every column is zero on the reference deck: mid-latitude, open, household traffic, smooth
softwood, cleaned and given two coats of an untinted water-borne decking oil.
"""

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from reminders.forecast.arrays import Booleans, Floats
from reminders.forecast.clock import (
    CLOCK_WEIGHTS,
    LEAST_WET_DAYS,
    ClockWeights,
    SeasonalClock,
    seasonal_rate,
    yearly_means,
)
from reminders.forecast.coats import CATEGORY_LEVELS, Coats

SOLAR_CONSTANT = 0.0820  # MJ/m²·min, FAO-56 eq. 21
MONTH_DAYS = np.array([31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])
# Sun from sunshine hours reads about 5 % high against 1,195 typical-year stations (our own
# comparison).
SUNSHINE_BIAS = 0.96


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
    day = np.asarray(day_of_year, dtype=float)
    phi = np.radians(_require_within("latitude", latitude, -90, 90))
    distance = 1 + 0.033 * np.cos(2 * np.pi * day / 365)
    declination = 0.409 * np.sin(2 * np.pi * day / 365 - 1.39)
    # Beyond the polar circles the sun may not rise or set: the clip makes the day 0 or 24 hours
    # long.
    sunset = np.arccos(np.clip(-np.tan(phi) * np.tan(declination), -1, 1))
    beam = sunset * np.sin(phi) * np.sin(declination) + np.cos(phi) * np.cos(declination) * np.sin(
        sunset
    )
    # At the very pole the sum can come out a rounding error below 0.
    return np.maximum(24 * 60 / np.pi * SOLAR_CONSTANT * distance * beam, 0.0)


def radiation_from_sunshine(
    sunshine_share: ArrayLike, extraterrestrial: ArrayLike, height_m: ArrayLike = 0.0
) -> Floats:
    """Return the sun on the ground from the share of possible sunshine (FAO-56 eq. 35).

    Parameters
    ----------
    sunshine_share : array_like
        Hours of bright sunshine over hours of daylight, 0 to 1.
    extraterrestrial : array_like
        Sun above the air, MJ/m² a day.
    height_m : array_like
        Height above the sea, m.

    Returns
    -------
    ndarray
        MJ/m² a day.

    Notes
    -----
    Under a clear sky 0.75 + 2·10⁻⁵ z of it comes through, z the height in metres (FAO-56 eq. 37);
    under clouds it is taken to grow in the same proportion.
    """
    share = 0.25 + 0.50 * _require_within("sunshine_share", sunshine_share, 0, 1)
    thinner = 1 + 2e-5 / 0.75 * _require_within("height_m", height_m, -500, 9000)
    return share * thinner * np.asarray(extraterrestrial, dtype=float)


REFERENCE_SUN = 14.3  # MJ/m² a day = 1450 kWh/m² a year, mid-latitude
REFERENCE_WET_DAYS = 10.0  # a month = 120 a year: between London (110) and Lebanon NH (140)
# boards nearer to the ground than two steps dry slower (common practice, no source)
LOW_DECK_HEIGHT_M = 0.4
FULL_SHADE_LOSS = 0.5  # full shade still gets the light of the sky, 0.4 to 0.6 of open sun

# column → the factor under which its effect is told to people
DESIGN_COLUMNS: dict[str, str] = {
    "finish_clear_repellent": "finish",
    "finish_repellent_preservative": "finish",
    "finish_tinted": "finish",
    "finish_semitransparent": "finish",
    "finish_solid_film": "finish",
    "finish_clear_film": "finish",
    "oil_light": "pigment",
    "oil_dark": "pigment",
    "colour_dark": "pigment",
    "film_light": "pigment",
    "base_solvent": "base",
    "log_sun": "sun",
    "log_openness": "shade",
    "log_wet_days": "wet_days",
    "roof": "roof",
    "facing": "facing",
    "airflow_poor": "airflow",
    "low_down": "airflow",
    "species_durable_soft": "species",
    "species_hardwood": "species",
    "species_modified": "species",
    "film_on_durable_soft": "species",
    "texture_sawn": "texture",
    "texture_weathered": "texture",
    "film_on_weathered": "texture",
    "traffic_light": "traffic",
    "traffic_heavy": "traffic",
    "salt_near": "salt",
    "salt_spray": "salt",
    "pool": "pool",
    "litter_some": "litter",
    "litter_heavy": "litter",
    "log2_coats": "coats",
    "preparation_strip": "preparation",
    "preparation_none": "preparation",
}
# Two factors come from visits rather than from the design matrix; what is not known and was taken
# as usual is told by itself.
FACTORS: tuple[str, ...] = (
    *dict.fromkeys(DESIGN_COLUMNS.values()),
    "own_history",
    "inspection",
    "unknown",
)


def _has_level(coats: Coats, name: str, word: str) -> Booleans:
    return getattr(coats, name) == CATEGORY_LEVELS[name].index(word)


def midsummer_weight(latitude: Floats) -> Floats:
    """Return how far each month is towards midsummer.

    Parameters
    ----------
    latitude : ndarray, shape (n,)
        Degrees, south negative.

    Returns
    -------
    ndarray, shape (n, 12)
        1 in midsummer, 0 in midwinter.
    """
    north = 0.5 - 0.5 * np.cos(2 * np.pi * (np.arange(12) + 0.5 - 11.7) / 12)
    return np.where(latitude[:, None] >= 0, north, 1 - north)


def sun_on_deck(coats: Coats) -> Floats:
    """Return the sun that shade lets through to each deck; a shade that nobody knows is taken as
    usual.

    Parameters
    ----------
    coats : Coats
        The coats.

    Returns
    -------
    ndarray, shape (n, 12)
        MJ/m² a day in each month.
    """
    if not (coats.summer_shade.any() or coats.winter_shade.any()):
        return coats.sun
    usual = coats.mix.mean_shade
    winter = FULL_SHADE_LOSS * np.where(coats.is_shade_unknown, usual, coats.winter_shade)
    more = FULL_SHADE_LOSS * np.where(coats.is_shade_unknown, usual, coats.summer_shade) - winter
    return coats.sun * ((1 - winter)[:, None] - more[:, None] * midsummer_weight(coats.latitude))


def deck_clock(coats: Coats, weights: ClockWeights = CLOCK_WEIGHTS) -> SeasonalClock:
    """Return the seasonal clock of the deck of each coat.

    Parameters
    ----------
    coats : Coats
        The coats.
    weights : ClockWeights
        What the clock follows.

    Returns
    -------
    SeasonalClock
        One row a coat.
    """
    return SeasonalClock(seasonal_rate(sun_on_deck(coats), coats.wet_days, weights))


def facing_equator(coats: Coats) -> Floats:
    """Return how squarely the open side of each deck faces the midday sun.

    Parameters
    ----------
    coats : Coats
        The coats.

    Returns
    -------
    ndarray, shape (n,)
        1 towards the equator, −1 towards the pole, 0 if open all round; fading towards the tropics.
    """
    towards = np.cos(np.radians(coats.orientation - 180)) * np.clip(coats.latitude / 30, -1, 1)
    return np.where(np.isnan(towards), 0.0, towards)


def _finish_columns(coats: Coats) -> dict[str, NDArray[Any]]:
    film = coats.is_film
    light = _has_level(coats, "pigment", "light")
    dark = _has_level(coats, "pigment", "dark")
    plain = coats.finish_class <= CATEGORY_LEVELS["finish_class"].index("repellent_preservative")
    columns = {
        f"finish_{word}": _has_level(coats, "finish_class", word)
        for word in CATEGORY_LEVELS["finish_class"][1:]
    }
    return columns | {
        "oil_light": light & plain,
        "oil_dark": dark & plain,
        "colour_dark": dark & ~plain,
        "film_light": light & film,
        "base_solvent": _has_level(coats, "base", "solvent"),
        "log2_coats": np.log2(
            np.minimum(coats.coats, 4) / 2
        ),  # beyond four coats nothing more is taken up
        "preparation_strip": _has_level(coats, "preparation", "strip"),
        "preparation_none": _has_level(coats, "preparation", "none"),
    }


def _timber_columns(coats: Coats) -> dict[str, NDArray[Any]]:
    film = coats.is_film
    weathered = _has_level(coats, "texture", "weathered")
    durable = _has_level(coats, "species_class", "durable_soft")
    return {
        "species_durable_soft": durable,
        "species_hardwood": _has_level(coats, "species_class", "hardwood"),
        "species_modified": _has_level(coats, "species_class", "modified"),
        "film_on_durable_soft": film & durable,
        "texture_sawn": _has_level(coats, "texture", "sawn"),
        "texture_weathered": weathered & ~film,
        "film_on_weathered": weathered & film,
    }


def _site_columns(coats: Coats) -> dict[str, NDArray[Any]]:
    open_sun = yearly_means(coats.sun)
    on_deck = yearly_means(sun_on_deck(coats))
    wet = yearly_means(coats.wet_days)
    return {
        "log_sun": np.log(open_sun / REFERENCE_SUN),
        "log_openness": np.log(on_deck / open_sun),
        # The offset as in the clock: where it hardly rains, rain has little say.
        "log_wet_days": np.log((wet + LEAST_WET_DAYS) / (REFERENCE_WET_DAYS + LEAST_WET_DAYS)),
        "roof": coats.roof_cover,
        "facing": facing_equator(coats),
        "airflow_poor": _has_level(coats, "airflow", "poor"),
        "low_down": (
            (coats.height < LOW_DECK_HEIGHT_M) & ~_has_level(coats, "airflow", "poor")
        ),  # not twice for one damp ground
    }


def _use_columns(coats: Coats) -> dict[str, NDArray[Any]]:
    return {
        "traffic_light": _has_level(coats, "traffic", "light"),
        "traffic_heavy": _has_level(coats, "traffic", "heavy"),
        "salt_near": _has_level(coats, "salt", "near"),
        "salt_spray": _has_level(coats, "salt", "spray"),
        "pool": coats.pool,
        "litter_some": _has_level(coats, "litter", "some"),
        "litter_heavy": _has_level(coats, "litter", "heavy"),
    }


def design_matrix(coats: Coats) -> Floats:
    """Return the design matrix, without a column for the reference deck.

    Parameters
    ----------
    coats : Coats
        The coats.

    Returns
    -------
    ndarray, shape (n, len(COLUMNS))
        One column for each name of `COLUMNS`, in that order.
    """
    found = (
        _finish_columns(coats) | _timber_columns(coats) | _site_columns(coats) | _use_columns(coats)
    )
    matrix = np.empty((len(DESIGN_COLUMNS), len(coats)))  # each column in one piece
    for at, name in enumerate(DESIGN_COLUMNS):
        matrix[at] = found[name]
    return matrix.T
