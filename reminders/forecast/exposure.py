"""From coats and their exposure to the numbers of the model:
the sun that reaches a deck, and the design matrix.

Every column is nought on the reference deck: mid-latitude, open, household traffic, smooth
softwood, cleaned and given two coats of an untinted water-borne decking oil.
"""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from reminders.forecast.arrays import Booleans, Floats
from reminders.forecast.coats import CATEGORY_LEVELS, Coats

REFERENCE_SUN = 14.3  # MJ/m² a day = 1450 kWh/m² a year, mid-latitude
REFERENCE_WET_DAYS = 10.0  # a month = 120 a year: between London (110) and Lebanon NH (140)
LOW_DECK_HEIGHT_M = (
    0.4  # boards nearer to the ground than two steps dry slower (common practice, no source)
)
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
# Two factors come from visits rather than from the design matrix.
FACTORS: tuple[str, ...] = (*dict.fromkeys(DESIGN_COLUMNS.values()), "own_history", "inspection")


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
    """Return the sun that shade lets through to each deck.

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
    winter = FULL_SHADE_LOSS * coats.winter_shade
    more = FULL_SHADE_LOSS * coats.summer_shade - winter
    return coats.sun * ((1 - winter)[:, None] - more[:, None] * midsummer_weight(coats.latitude))


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
    open_sun = coats.sun.mean(axis=1)
    on_deck = sun_on_deck(coats).mean(axis=1)
    wet = coats.wet_days.mean(axis=1)
    return {
        "log_sun": np.log(open_sun / REFERENCE_SUN),
        "log_openness": np.log(on_deck / open_sun),
        "log_wet_days": np.log(
            (wet + 1) / (REFERENCE_WET_DAYS + 1)
        ),  # + 1: deserts have no wet day
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
    matrix = np.empty((len(coats), len(DESIGN_COLUMNS)))
    for at, name in enumerate(DESIGN_COLUMNS):
        matrix[:, at] = found[name]
    return matrix
