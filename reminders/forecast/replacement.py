"""The best age to recoat, and what upkeep and neglect cost a year.

Age replacement (Barlow & Hunter 1960): recoat at an age that costs least a month, given that a coat
past its strip limit costs a strip.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy.special import ndtr

from reminders.forecast.arrays import Floats, Integers
from reminders.forecast.wear_limits import FILM_WEAR, OIL_WEAR, WearLimits

HORIZON_MONTHS = 240.0
# more coats since the last strip: the next job is a strip (common practice, no source)
MAX_COATS_BEFORE_STRIP = 6


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
    """

    months: float
    upkeep_a_year: float
    neglect_a_year: float


def check_prices(recoat_cost: float, strip_cost: float) -> None:
    """Refuse prices that are none.

    Parameters
    ----------
    recoat_cost, strip_cost : float
        Prices of the two jobs.
    """
    for name, price in (("recoat_cost", recoat_cost), ("strip_cost", strip_cost)):
        if not (np.isfinite(price) and price > 0):
            raise ValueError(f"{name} must be above 0; got {price}")


def cheapest_age(
    cost: Callable[[Floats], Floats],
    lasting: Callable[[Floats], Floats],
    strip_cost: float,
    horizon: float = HORIZON_MONTHS,
) -> ReplacementPolicy:
    """Return the age at which the mean job costs least a month.

    Parameters
    ----------
    cost : callable
        Mean cost of a job at an age.
    lasting : callable
        Months that a coat lasts until the job.
    strip_cost : float
        Price of the job when the limit has been passed.
    horizon : float
        Ages beyond this count as never.

    Returns
    -------
    ReplacementPolicy
        Age and yearly costs.
    """

    def rate(age: Floats) -> Floats:
        return cost(age) / np.maximum(lasting(age), 1e-12)

    never = strip_cost / float(lasting(np.array([1e9 * horizon]))[0])
    grid = np.geomspace(horizon / 1e4, horizon, 600)
    for _ in range(4):  # each round narrows the grid around the lowest point two hundredfold
        at = int(np.argmin(rate(grid)))
        grid = np.linspace(grid[max(at - 1, 0)], grid[min(at + 1, len(grid) - 1)], 400)
    age = grid[np.argmin(rate(grid))]
    least = float(rate(age[None])[0])
    if least >= never or age >= 0.999 * horizon:
        return ReplacementPolicy(float("inf"), 12 * never, 12 * never)
    return ReplacementPolicy(float(age), 12 * least, 12 * never)


def recoats_between_strips(coats_a_job: float) -> int:
    """Return how many recoats fit between two strips before the coats have grown too thick.

    Parameters
    ----------
    coats_a_job : float
        Coats that a job puts on.

    Returns
    -------
    int
        At least 1.
    """
    return max(int(MAX_COATS_BEFORE_STRIP // max(coats_a_job, 1)), 1)


@dataclass(frozen=True)
class UpkeepLaw:
    """What upkeep costs if each job comes at the same age of its coat, a strip costing so many
    recoats.

    Parameters
    ----------
    mean, spread : float
        Of log life in clock months.
    price_ratio : float
        Price of a strip in prices of a recoat.
    limits : WearLimits
        How the finish ends.
    recoats : int or None
        After so many the coats have grown too thick and the next job is a strip at any age; None if
        they never do.

    Notes
    -----
    From strip to strip: with S the chance that the strip limit is not passed at the age, there are
    N = 1 + S + … + Sⁿ intervals, the last of which ends in the strip. The least of (strip + recoat
    · (N − 1)) / (N · μ) is sought, μ the months that the coat protects until the job. Without an n
    this is the rule of age replacement.
    """

    mean: float
    spread: float
    price_ratio: float
    limits: WearLimits = FILM_WEAR
    recoats: int | None = None

    def kept(self, age: Floats, lives: float) -> Floats:
        """Return the chance that so many lives are not over at an age.

        Parameters
        ----------
        age : ndarray
            Clock months.
        lives : float
            Against the age at the recoat limit.

        Returns
        -------
        ndarray
            Chances.
        """
        return ndtr((self.mean + np.log(lives) - np.log(age)) / self.spread)

    def protected(self, age: Floats) -> Floats:
        """Return the months that a coat protects before an age.

        Parameters
        ----------
        age : ndarray
            Clock months.

        Returns
        -------
        ndarray
            Mean clock months.
        """
        middle = self.mean + np.log(self.limits.protected_ratio)
        z = (np.log(age) - middle) / self.spread
        return age * ndtr(-z) + np.exp(middle + self.spread**2 / 2) * ndtr(z - self.spread)

    def cost(self, age: Floats) -> Floats:
        """Return the mean cost of a job at an age, in prices of a recoat.

        Parameters
        ----------
        age : ndarray
            Clock months.

        Returns
        -------
        ndarray
            Of all jobs from strip to strip, what worn coats take more with them.
        """
        safe = self.kept(age, self.limits.strip_ratio)
        worn = np.maximum(safe - self.kept(age, 1.0), 0) / np.maximum(safe, 1e-300)
        each = 1 + min(self.limits.worn_extra, max(self.price_ratio - 1, 0.0)) * worn
        strips = 1 - safe
        if self.recoats is not None:
            strips = 1 / np.power.outer(safe, np.arange(self.recoats + 1)).sum(axis=-1)
        return each + (self.price_ratio - each) * strips

    def monthly(self, age: Floats) -> Floats:
        """Return the cost a month in which the coat protects.

        Parameters
        ----------
        age : ndarray
            Clock months.

        Returns
        -------
        ndarray
            In prices of a recoat.
        """
        return self.cost(age) / np.maximum(self.protected(age), 1e-12)


def optimal_recoat_age(
    mean: float,
    spread: float,
    recoat_cost: float,
    strip_cost: float,
    limits: WearLimits = FILM_WEAR,
    recoats: int | None = None,
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
    limits : WearLimits
        How the finish ends.
    recoats : int, optional
        How many fit between two strips, as of `UpkeepLaw`.

    Returns
    -------
    ReplacementPolicy
        Age, and costs a year in which the coat protects.
    """
    check_prices(recoat_cost, strip_cost)
    law = UpkeepLaw(mean, spread, strip_cost / recoat_cost, limits, recoats)
    return cheapest_age(lambda age: recoat_cost * law.cost(age), law.protected, strip_cost)


AGE_GRID = np.geomspace(0.1, 6.0, 160)  # ages in medians at which tables are kept


@lru_cache(maxsize=4096)
def tabled_upkeep(
    spread: float, price_ratio: float, limits: WearLimits, recoats: int
) -> tuple[float, Floats]:
    """Return the best age, and the log of the monthly cost over `AGE_GRID`, in median lives.

    Parameters
    ----------
    spread : float
        Spread of the life on the log scale.
    price_ratio : float
        Price of a strip in prices of a recoat.
    limits : WearLimits
        How the finish ends.
    recoats : int
        How many fit between two strips.

    Returns
    -------
    best : float
        At most the strip limit: a coat that is best left to it is due there.
    costs : ndarray
        Logs of costs.
    """
    law = UpkeepLaw(0.0, spread, price_ratio, limits, recoats)
    best = cheapest_age(law.cost, law.protected, price_ratio).months
    return min(best, limits.strip_ratio), np.log(law.monthly(AGE_GRID))


@dataclass(frozen=True)
class UpkeepTable:
    """Best ages of many coats and what another age costs, from a table of rounded spreads.

    Parameters
    ----------
    best : ndarray, shape (n,)
        Best age to recoat against the median life.
    costs : ndarray, shape (k, len(AGE_GRID))
        Logs of the monthly cost of each kind of coat.
    kind : ndarray of int, shape (n,)
        Which kind each coat is.
    """

    best: Floats
    costs: Floats
    kind: Integers

    def log_cost(self, age: Floats) -> Floats:
        """Return the log of the monthly cost at an age.

        Parameters
        ----------
        age : ndarray, shape (n,)
            In median lives.

        Returns
        -------
        ndarray, shape (n,)
            Only differences mean anything.
        """
        step = np.log(AGE_GRID[1] / AGE_GRID[0])
        at = np.log(np.clip(age, AGE_GRID[0], AGE_GRID[-1] * 0.999) / AGE_GRID[0]) / step
        low: Integers = np.minimum(at.astype(np.int64), len(AGE_GRID) - 2)
        share = at - low
        return (1 - share) * self.costs[self.kind, low] + share * self.costs[self.kind, low + 1]


def upkeep_table(
    log_sd: Floats, film_share: Floats, coats_a_job: Floats, price_ratio: float
) -> UpkeepTable:
    """Return the best age to recoat of many coats, and what others cost.

    Parameters
    ----------
    log_sd : ndarray, shape (n,)
        Spread of each life.
    film_share : ndarray, shape (n,)
        How far each finish is a film.
    coats_a_job : ndarray, shape (n,)
        Coats that a job puts on; NaN where nobody counted, taken for two.
    price_ratio : float
        Price of a strip in prices of a recoat.

    Returns
    -------
    UpkeepTable
        One row a coat.
    """
    spread: Integers = np.rint(np.clip(log_sd, 0.05, 2.0) * 100).astype(np.int64)
    coats: Integers = np.clip(np.nan_to_num(coats_a_job, nan=2.0), 1, 9).astype(np.int64)
    film: Integers = np.rint(film_share * 9).astype(np.int64)
    keys, place = np.unique(100 * spread + 10 * coats + film, return_inverse=True)
    ratio = round(max(price_ratio, 1.1), 1)
    best = []
    costs = []
    for key in keys.tolist():
        recoats = recoats_between_strips(key // 10 % 10)
        oil = tabled_upkeep(key // 100 / 100, ratio, OIL_WEAR, recoats)
        of_film = tabled_upkeep(key // 100 / 100, ratio, FILM_WEAR, recoats)
        share = key % 10 / 9
        best.append(oil[0] ** (1 - share) * of_film[0] ** share)
        costs.append((1 - share) * oil[1] + share * of_film[1])
    return UpkeepTable(np.array(best)[place], np.array(costs).reshape(len(keys), -1), place)
