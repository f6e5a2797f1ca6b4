"""The best age to recoat, and what upkeep and neglect cost a year.

Age replacement (Barlow & Hunter 1960): recoat at an age that costs least a month, given that a coat
past its strip limit costs a strip.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from reminders.forecast.arrays import Floats
from reminders.forecast.intervals import STRIP_RATIO

HORIZON_MONTHS = 240.0


@dataclass(frozen=True)
class ReplacementPolicy:
    """When to recoat, and what it saves.

    Parameters
    ----------
    months : float
        Age at which recoating costs least; infinity if waiting for the strip is cheapest.
    upkeep_a_year : float
        Yearly cost of recoating at that age.
    neglect_a_year : float
        Yearly cost of waiting until a strip is needed.
    strip_chance : float
        Chance that the strip limit is passed by that age.
    """

    months: float
    upkeep_a_year: float
    neglect_a_year: float
    strip_chance: float


def optimal_replacement_age(
    survival: Callable[[Floats], Floats],
    restricted_mean: Callable[[Floats], Floats],
    recoat_cost: float,
    strip_cost: float,
    horizon: float = HORIZON_MONTHS,
) -> ReplacementPolicy:
    """Return the age at which replacing costs least.

    Parameters
    ----------
    survival : callable
        Chance that the strip limit is not passed by an age.
    restricted_mean : callable
        Its integral from 0 to that age.
    recoat_cost : float
        Price of the planned job.
    strip_cost : float
        Price of the job when the limit has been passed.
    horizon : float
        Ages beyond this count as never.

    Returns
    -------
    ReplacementPolicy
        Age and yearly costs.
    """
    for name, cost in (("recoat_cost", recoat_cost), ("strip_cost", strip_cost)):
        if not (np.isfinite(cost) and cost > 0):
            raise ValueError(f"{name} must be above 0; got {cost}")

    def rate(age: Floats) -> Floats:
        kept = survival(age)
        return (recoat_cost * kept + strip_cost * (1 - kept)) / np.maximum(
            restricted_mean(age), 1e-12
        )

    never = strip_cost / float(restricted_mean(np.array([1e9 * horizon]))[0])
    grid = np.geomspace(horizon / 1e4, horizon, 600)
    for _ in range(4):  # each round narrows the grid around the lowest point two hundredfold
        at = int(np.argmin(rate(grid)))
        grid = np.linspace(grid[max(at - 1, 0)], grid[min(at + 1, len(grid) - 1)], 400)
    age = grid[np.argmin(rate(grid))]
    least = float(rate(age[None])[0])
    if least >= never or age >= 0.999 * horizon:
        return ReplacementPolicy(float("inf"), 12 * never, 12 * never, 1.0)
    return ReplacementPolicy(float(age), 12 * least, 12 * never, float(1 - survival(age[None])[0]))


def optimal_recoat_age(
    mean: float,
    spread: float,
    recoat_cost: float,
    strip_cost: float,
    strip_ratio: float = STRIP_RATIO,
) -> ReplacementPolicy:
    """Return the best age to recoat a coat whose life is log-normal.

    Parameters
    ----------
    mean : float
        Mean of log life in clock months; the log of `Prediction.median_months`.
    spread : float
        `Prediction.log_sd`.
    recoat_cost : float
        Price of clean and recoat on this deck.
    strip_cost : float
        Price of strip and refinish on this deck.
    strip_ratio : float
        Age at which a strip is needed against the age at which a recoat is due.

    Returns
    -------
    ReplacementPolicy
        Age and yearly costs.
    """
    middle = mean + np.log(strip_ratio)

    def survival(age: Floats) -> Floats:
        return ndtr((middle - np.log(age)) / spread)

    def restricted_mean(age: Floats) -> Floats:
        z = (np.log(age) - middle) / spread
        return age * ndtr(-z) + np.exp(middle + spread**2 / 2) * ndtr(z - spread)

    return optimal_replacement_age(survival, restricted_mean, recoat_cost, strip_cost)
