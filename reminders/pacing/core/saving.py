"""What work in one week saves against later work:
the strip that is not needed, less the life of a coat cut short.

Waiting from age t to t' costs c(t') − c(t), c the mean cost of the job at an age: of a film
(strip − recoat)·F, F the chance that the strip limit is passed; of an oil what a worn coat takes
more, too. It puts all later jobs off: that is worth g a month for as long as the coat protects, g
the cost rate of upkeep at the best age. The balance is zero where the rule of age replacement
(Barlow & Hunter 1960) says so: before it haste loses.
"""

from functools import lru_cache

import numpy as np

from reminders.forecast import FILM_WEAR, OIL_WEAR, optimal_recoat_age, truncated_normal_cdf
from reminders.forecast.arrays import Booleans, Floats, Integers

TYPICAL_MONTHS = 16.0  # the rate is calculated at this median and scaled: only ratios matter


def strip_chances_by_age(
    ages: Floats,
    median: Floats,
    log_sd: Floats,
    sound: Floats,
    worn: Floats,
    ratio: Floats | float = FILM_WEAR.strip_ratio,
) -> Floats:
    """Return the chance that a limit, as a rule the strip limit, is passed at given ages.

    Parameters
    ----------
    ages : ndarray, shape (n, k)
        Clock months since the coat.
    median : ndarray, shape (n,)
        Median life in clock months, before inspections.
    log_sd : ndarray, shape (n,)
        Spread of the life on the log scale.
    sound : ndarray, shape (n,)
        Clock age at the last inspection that found it sound; NaN if none.
    worn : ndarray, shape (n,)
        Clock age at the first that found it worn; NaN if none.
    ratio : float or ndarray, shape (n, 1)
        Age at the limit against the life.

    Returns
    -------
    ndarray, shape (n, k)
        Chances, given the inspections.
    """

    def standard(age: Floats, missing: float) -> Floats:
        with np.errstate(divide="ignore", invalid="ignore"):
            z = (np.log(age) - np.log(median)[:, None]) / log_sd[:, None]
        return np.where(np.isnan(z), missing, z)

    at = standard(np.maximum(ages, 0) / ratio, -np.inf)
    low = standard(sound[:, None], -np.inf)
    high = standard(worn[:, None], np.inf)
    known = np.broadcast_to(high, at.shape)
    return truncated_normal_cdf(np.broadcast_to(low, at.shape), known, at)


@lru_cache(maxsize=4096)
def unit_upkeep_rate(log_sd: float, ratio: float, is_film: bool, recoats: int) -> float:
    """Yearly cost of upkeep of a coat with the typical median and a recoat for 1;
    `recoats` fit between two strips, 0 for any number."""
    limits = FILM_WEAR if is_film else OIL_WEAR
    mean = float(np.log(TYPICAL_MONTHS))
    return optimal_recoat_age(mean, log_sd, 1.0, ratio, limits, recoats or None).upkeep_a_year


def monthly_upkeep_rates(
    median: Floats,
    log_sd: Floats,
    recoat: Floats,
    strip: Floats,
    is_film: Booleans | None = None,
    recoats: Integers | None = None,
) -> Floats:
    """Return the cost of upkeep a clock month, from a table of spreads and price ratios.

    Parameters
    ----------
    median : ndarray, shape (n,)
        Median life, clock months.
    log_sd : ndarray, shape (n,)
        Spread of the life.
    recoat : ndarray, shape (n,)
        Price of a recoat.
    strip : ndarray, shape (n,)
        Price of a strip.
    is_film : ndarray of bool, shape (n,), optional
        Whether the finish is a film; without it all are.
    recoats : ndarray of int, shape (n,), optional
        How many recoats fit between two strips; without it any number.

    Returns
    -------
    ndarray, shape (n,)
        Money a clock month in which the coat protects.
    """
    ratio = np.maximum(strip / recoat, 1.0)
    keys = zip(
        np.round(np.clip(log_sd, 0.05, 2), 2).tolist(),
        np.maximum(np.round(np.minimum(ratio, 50), 1), 1.1).tolist(),
        (np.ones(len(median), dtype=bool) if is_film is None else is_film).tolist(),
        (np.zeros(len(median), dtype=int) if recoats is None else recoats).tolist(),
        strict=True,
    )
    yearly = np.array([unit_upkeep_rate(*key) for key in keys])
    return yearly * recoat * TYPICAL_MONTHS / median / 12


def savings_by_age(ages: Floats, costs: Floats, kept: Floats, rate: Floats) -> Floats:
    """Return what work at each age saves against work at the last one.

    Parameters
    ----------
    ages : ndarray, shape (n, k + 1)
        Rising clock months; the last is when the work would be done otherwise.
    costs : ndarray, shape (n, k + 1)
        Mean cost of the job at those ages beyond a recoat in time.
    kept : ndarray, shape (n, k + 1)
        Chance that the coat still protects at those ages.
    rate : ndarray, shape (n,)
        Worth of a clock month of life.

    Returns
    -------
    ndarray, shape (n, k)
        Money, below 0 where haste loses.
    """
    pieces = np.diff(ages, axis=1) * (kept[:, 1:] + kept[:, :-1]) / 2
    life = np.cumsum(pieces[:, ::-1], axis=1)[:, ::-1]
    return costs[:, -1:] - costs[:, :-1] - rate[:, None] * life
