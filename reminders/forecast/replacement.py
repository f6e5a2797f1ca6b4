"""The best month for the next job, what upkeep and neglect cost a year, and the plan of the coming years.

Age replacement (Barlow & Hunter 1960): recoat at an age that costs least a month, given that a coat past its strip
limit costs a strip.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr

from reminders.forecast.climate import MONTH_DAYS
from reminders.forecast.clock import Clock
from reminders.forecast.intervals import STRIP_RATIO

Floats = NDArray[np.float64]

MOST_COATS = 6  # more coats since the last strip: the next job is a strip (common practice, no source)
STRIPPERS_THICK = 2  # full applications of stripper on such a build
LEAST_CELSIUS = 10.0  # water-borne finishes (Wood Handbook FPL-GTR-190 ch. 16); the data sheet overrides it
MOST_WET_SHARE = 0.5  # of the days of a month (judgement)
HORIZON_MONTHS = 240.0


@dataclass(frozen=True)
class BestAge:
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


def best_age(
    survival: Callable[[Floats], Floats],
    lived: Callable[[Floats], Floats],
    recoat_cost: float,
    strip_cost: float,
    horizon: float = HORIZON_MONTHS,
) -> BestAge:
    """Return the age at which replacing costs least.

    Parameters
    ----------
    survival : callable
        Chance that the strip limit is not passed by an age.
    lived : callable
        Its integral from 0 to that age.
    recoat_cost : float
        Price of the planned job.
    strip_cost : float
        Price of the job when the limit has been passed.
    horizon : float
        Ages beyond this count as never.

    Returns
    -------
    BestAge
        Age and yearly costs.
    """
    for name, cost in (("recoat_cost", recoat_cost), ("strip_cost", strip_cost)):
        if not (np.isfinite(cost) and cost > 0):
            raise ValueError(f"{name} must be above 0; got {cost}")

    def rate(age: Floats) -> Floats:
        kept = survival(age)
        return (recoat_cost * kept + strip_cost * (1 - kept)) / np.maximum(lived(age), 1e-12)

    never = strip_cost / float(lived(np.array([1e9 * horizon]))[0])
    grid = np.geomspace(horizon / 1e4, horizon, 600)
    for _ in range(4):  # each round narrows the grid around the lowest point two hundredfold
        at = int(np.argmin(rate(grid)))
        grid = np.linspace(grid[max(at - 1, 0)], grid[min(at + 1, len(grid) - 1)], 400)
    age = grid[np.argmin(rate(grid))]
    least = float(rate(age[None])[0])
    if least >= never or age >= 0.999 * horizon:
        return BestAge(float("inf"), 12 * never, 12 * never, 1.0)
    return BestAge(float(age), 12 * least, 12 * never, float(1 - survival(age[None])[0]))


def best_recoat_age(
    mean: float, spread: float, recoat_cost: float, strip_cost: float, strip_ratio: float = STRIP_RATIO
) -> BestAge:
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
    BestAge
        Age and yearly costs.
    """
    middle = mean + np.log(strip_ratio)

    def survival(age: Floats) -> Floats:
        return ndtr((middle - np.log(age)) / spread)

    def lived(age: Floats) -> Floats:
        z = (np.log(age) - middle) / spread
        return age * ndtr(-z) + np.exp(middle + spread**2 / 2) * ndtr(z - spread)

    return best_age(survival, lived, recoat_cost, strip_cost)


def workable_months(
    temperature_c: ArrayLike,
    wet_days: ArrayLike,
    *,
    season: ArrayLike | None = None,
    least_celsius: float = LEAST_CELSIUS,
    most_wet_share: float = MOST_WET_SHARE,
) -> NDArray[np.bool_]:
    """Return the months of the year in which decks can be coated.

    Parameters
    ----------
    temperature_c : array_like, shape (..., 12)
        Mean of each month.
    wet_days : array_like, shape (..., 12)
        Days with rain.
    season : array_like of bool, shape (12,), optional
        Months in which the business works.
    least_celsius : float
        Coldest mean at which the finish may be applied.
    most_wet_share : float
        Wettest share of days.

    Returns
    -------
    ndarray of bool, shape (..., 12)
        Whether each month is workable; if none is, the warmest month of the season.
    """
    warm = np.asarray(temperature_c, dtype=float)
    allowed = np.ones(12, dtype=bool) if season is None else np.asarray(season, dtype=bool)
    if allowed.shape != (12,) or not allowed.any():
        raise ValueError(f"season must have twelve months and at least one of them worked; got {season!r}")
    dry = np.asarray(wet_days, dtype=float) / MONTH_DAYS <= most_wet_share
    good = (warm >= least_celsius) & dry & allowed
    warmest = np.argmax(np.where(allowed, warm, -np.inf), axis=-1)[..., None] == np.arange(12)
    return np.where(good.any(axis=-1, keepdims=True), good, warmest)


@dataclass(frozen=True)
class Month:
    """A calendar month, counted from January 1970 as 0.

    Parameters
    ----------
    number : int
        Months since January 1970.
    """

    number: int

    @property
    def year(self) -> int:
        """The year."""
        return 1970 + self.number // 12

    @property
    def of_year(self) -> int:
        """1 for January to 12 for December."""
        return self.number % 12 + 1

    @property
    def middle(self) -> float:
        """Its middle, in days since 1970-01-01."""
        ends = np.array([self.number, self.number + 1]).astype("datetime64[M]").astype("datetime64[D]").astype(float)
        return float(ends.mean())


def _month_of(day: float) -> int:
    return int(np.array(np.floor(day)).astype("int64").astype("datetime64[D]").astype("datetime64[M]").astype(int))


def best_month(clock: Clock, coated_on: float, age_months: float, workable: ArrayLike, *, not_before: float) -> Month:
    """Return the workable calendar month whose middle comes closest to the best age.

    Parameters
    ----------
    clock : Clock
        The seasonal clock of the deck.
    coated_on : float
        Date of the coat.
    age_months : float
        Best age in clock months.
    workable : array_like of bool, shape (12,)
        Months of the year that can be worked.
    not_before : float
        Usually today; months that end before it are out.

    Returns
    -------
    Month
        The month.
    """
    good = np.asarray(workable, dtype=bool)
    if good.shape != (12,) or not good.any():
        raise ValueError(f"workable must have twelve months and at least one of them true; got {workable!r}")
    aim = float(clock.day_after([coated_on], [min(age_months, HORIZON_MONTHS)])[0])
    first = _month_of(not_before)
    around = max(_month_of(aim), first)
    months = [Month(k) for k in range(max(first, around - 12), around + 13) if good[k % 12]]
    # Wear is what counts, so closeness is measured on the clock, not on the calendar.
    wanted = clock.reading([max(aim, not_before)])[0]
    return min(months, key=lambda month: abs(clock.reading([month.middle])[0] - wanted))


@dataclass(frozen=True)
class PlannedJob:
    """One job of the plan.

    Parameters
    ----------
    month : Month
        When.
    work : {"recoat", "strip"}
        Clean and recoat, or strip and refinish.
    stripper_applications : int
        Full applications of stripper.
    build_before, build_after : int
        Coats since the last strip.
    cost : float
        At today's prices.
    """

    month: Month
    work: str
    stripper_applications: int
    build_before: int
    build_after: int
    cost: float


def plan(
    clock: Clock,
    coated_on: float,
    age_months: float,
    workable: ArrayLike,
    *,
    today: float,
    years: int,
    build: int,
    coats_a_job: int,
    recoat_cost: float,
    strip_cost: float,
) -> list[PlannedJob]:
    """Return the jobs of the coming years, with a strip wherever the coats have grown too thick.

    Parameters
    ----------
    clock : Clock
        The seasonal clock of the deck.
    coated_on : float
        Date of the running coat.
    age_months : float
        Best age to recoat, in clock months.
    workable : array_like of bool, shape (12,)
        Months of the year that can be worked.
    today : float
        In days since 1970-01-01.
    years : int
        How far to plan.
    build : int
        Coats since the last strip.
    coats_a_job : int
        Coats that a job puts on.
    recoat_cost, strip_cost : float
        Prices of the two jobs on this deck.

    Returns
    -------
    list of PlannedJob
        In order of time.
    """
    jobs: list[PlannedJob] = []
    last, earliest, end = coated_on, today, today + 365.25 * years
    while True:
        month = best_month(clock, last, age_months, workable, not_before=earliest)
        if month.middle > end:
            return jobs
        jobs.append(_job(month, build, coats_a_job, recoat_cost, strip_cost))
        build, last = jobs[-1].build_after, month.middle
        earliest = Month(month.number + 1).middle


def _job(month: Month, build: int, coats: int, recoat_cost: float, strip_cost: float) -> PlannedJob:
    if build > MOST_COATS:
        return PlannedJob(month, "strip", STRIPPERS_THICK, build, coats, strip_cost)
    return PlannedJob(month, "recoat", 0, build, build + coats, recoat_cost)
