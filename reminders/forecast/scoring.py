"""Was it right? Scores of forecasts against what visits found, in the smallest honest pieces:
one visit at a time."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from reminders.forecast.arrays import Floats
from reminders.forecast.turnbull import turnbull_estimate

MIN_CHANCE = 1e-6  # a forecast that was wrong for certain is punished hard, but not without end
WINDOW_CHANCES = (0.2, 0.8)  # of being worn, when a window opens and when it closes
WORN_CHANCES = (0.2, 0.5, 0.8)
COVERAGE_GRID_STEPS = 400
ERROR_OF_ONE_COAT = 0.98  # 0.049 with 400 coats, by the square root of their number
MIN_FINISHED_COATS = 400  # finished coats for a window coverage within about five points


@dataclass(frozen=True)
class ForecastScores:
    """How a forecast did over visits.

    Parameters
    ----------
    visits : int
        Visits that were scored.
    log_score : float
        Mean of −log of the chance given to what was found; less is better.
    brier : float
        Mean squared difference between chance and finding; less is better.
    window_score : float
        Mean score of the windows at the visits; 1 for windows without end, less is better.
    observed : float
        Coats found worn.
    expected : float
        Coats expected to be found worn.
    """

    visits: int
    log_score: float
    brier: float
    window_score: float
    observed: float
    expected: float

    @property
    def observed_over_expected(self) -> float:
        """1 is right; above 1 coats wear sooner than forecast. NaN where none was expected."""
        return self.observed / self.expected if self.expected > 0 else float("nan")


@dataclass(frozen=True)
class CalibrationBin:
    """Visits to which a like chance was given.

    Parameters
    ----------
    low, high : float
        Ends of the chance.
    visits : int
        How many.
    forecast : float
        Mean chance given.
    found : float
        Share found worn.
    """

    low: float
    high: float
    visits: int
    forecast: float
    found: float


def _checked_outcomes(chance: ArrayLike, worn: ArrayLike) -> tuple[Floats, Floats]:
    p = np.asarray(chance, dtype=float)
    y = np.asarray(worn, dtype=float)
    bad = ~((p >= 0) & (p <= 1))
    if bad.any():
        raise ValueError(f"chance must lie between 0 and 1; row {np.argmax(bad)} has {p[bad][0]}")
    if p.shape != y.shape:
        raise ValueError(f"worn must have as many rows as chance; got {y.shape} and {p.shape}")
    return p, y


def log_scores(chance: ArrayLike, worn: ArrayLike) -> Floats:
    """Return −log of the chance given to what each visit found.

    Parameters
    ----------
    chance : array_like, shape (n,)
        Chance that the coat would be found worn.
    worn : array_like of bool, shape (n,)
        Whether it was.

    Returns
    -------
    ndarray, shape (n,)
        Less is better; 0.69 is tossing a coin.
    """
    p, y = _checked_outcomes(chance, worn)
    return -np.log(np.clip(np.where(y > 0, p, 1 - p), MIN_CHANCE, 1))


def window_scores(
    chance: ArrayLike, worn: ArrayLike, window: tuple[float, float] = WINDOW_CHANCES
) -> Floats:
    """Return the interval score of the window that was stated, as each visit sees it.

    Parameters
    ----------
    chance : array_like, shape (n,)
        Chance that the coat would be found worn.
    worn : array_like of bool, shape (n,)
        Whether it was.
    window : tuple of float
        Chances at which the window opens and closes, as far from 0 and from 1.

    Returns
    -------
    ndarray, shape (n,)
        1 at a visit inside the window; 0 at one outside that found what the window said, sound
        before it and worn after it; else 2/alpha, with 1 - alpha the share that the window claims.

    Notes
    -----
    The interval score of a window (l, u) and a life x is (u - l) + 2/alpha (l - x)+ +
    2/alpha (x - u)+ (Gneiting & Raftery 2007, J. Am. Stat. Assoc. 102:359, eq. 43), which is proper
    and in which width costs. It is the integral over all ages of what is returned here, and visits
    are a sample of ages: each tells on which side of it the life lies, never the life itself. At
    each age the score is proper by itself.
    """
    p, y = _checked_outcomes(chance, worn)
    missed = 2 / (1 - (window[1] - window[0]))
    outside = np.where(p < window[0], y > 0, y <= 0) * missed
    return np.where((p >= window[0]) & (p < window[1]), 1.0, outside)


def score_forecast(chance: ArrayLike, worn: ArrayLike) -> ForecastScores:
    """Return the scores of a forecast over visits.

    Parameters
    ----------
    chance : array_like, shape (n,)
        Chance that the coat would be found worn.
    worn : array_like of bool, shape (n,)
        Whether it was.

    Returns
    -------
    ForecastScores
        NaN scores where there are no visits.
    """
    p, y = _checked_outcomes(chance, worn)
    if not len(p):
        none = float("nan")
        return ForecastScores(0, none, none, none, 0.0, 0.0)
    brier = float(np.mean((p - y) ** 2))
    log_score, window_score = (float(rule(p, y).mean()) for rule in (log_scores, window_scores))
    return ForecastScores(len(p), log_score, brier, window_score, float(y.sum()), float(p.sum()))


def calibration_bins(chance: ArrayLike, worn: ArrayLike, bins: int = 10) -> list[CalibrationBin]:
    """Return how often coats were found worn among those given a like chance.

    Parameters
    ----------
    chance : array_like, shape (n,)
        Chance that the coat would be found worn.
    worn : array_like of bool, shape (n,)
        Whether it was.
    bins : int
        Number of equal steps of the chance.

    Returns
    -------
    list of CalibrationBin
        Steps without visits are left out.
    """
    p, y = _checked_outcomes(chance, worn)
    at = np.minimum((p * bins).astype(int), bins - 1)
    count = np.bincount(at, minlength=bins)
    mean = np.bincount(at, p, bins)
    found = np.bincount(at, y, bins)
    return [
        CalibrationBin(
            k / bins,
            (k + 1) / bins,
            int(count[k]),
            float(mean[k] / count[k]),
            float(found[k] / count[k]),
        )
        for k in np.flatnonzero(count).tolist()
    ]


@dataclass(frozen=True)
class WindowCoverage:
    """How often lives ended inside the stated window.

    Parameters
    ----------
    share : float
        Best estimate.
    at_least, at_most : float
        What is sure whatever happened between visits.
    coats : int
        Coats that the estimate rests on.
    is_enough : bool
        Whether these are enough to show the estimate.
    worn_by : tuple of float
        Share of the coats that were worn by the days for which `WORN_CHANCES` were forecast.
    """

    share: float
    at_least: float
    at_most: float
    coats: int
    is_enough: bool
    worn_by: tuple[float, ...]

    @property
    def worn_by_error(self) -> float:
        """Two standard errors of `share` and of `worn_by`, by our own simulations of visits once or
        twice a year."""
        return ERROR_OF_ONE_COAT * 2 / max(self.coats, 1) ** 0.5


def estimate_window_coverage(
    low: ArrayLike, high: ArrayLike, window: tuple[float, float] = WINDOW_CHANCES
) -> WindowCoverage:
    """Return how often lives ended inside a window of the forecast, from where visits bound them.

    The forecast of each life is read at its two bounds; the curve of these pairs that visits allow
    (Turnbull) is even if the forecast is right. Spreading each pair evenly, as is often done, would
    hide what is wrong.

    Parameters
    ----------
    low : array_like, shape (n,)
        Forecast chance of being worn by the last sound visit; 0 if none.
    high : array_like, shape (n,)
        Forecast chance of being worn by the first worn visit; 1 if none.
    window : tuple of float
        Chances at which the window opens and closes.

    Returns
    -------
    WindowCoverage
        Estimate and sure bounds.
    """
    # Rounded outwards to a grid: it keeps the curve quick and every interval open.
    p = np.floor(np.asarray(low) * COVERAGE_GRID_STEPS) / COVERAGE_GRID_STEPS
    q = np.ceil(np.asarray(high) * COVERAGE_GRID_STEPS) / COVERAGE_GRID_STEPS
    if not len(p):
        none = (float("nan"),) * len(WORN_CHANCES)
        return WindowCoverage(float("nan"), 0.0, 1.0, 0, is_enough=False, worn_by=none)
    q = np.maximum(q, p + 1 / COVERAGE_GRID_STEPS)
    sure = float(np.mean((np.asarray(low) >= window[0]) & (np.asarray(high) <= window[1])))
    possible = float(np.mean((np.asarray(high) > window[0]) & (np.asarray(low) < window[1])))
    finished = int((np.asarray(high) < 1).sum())
    curve = turnbull_estimate(p, q)
    return WindowCoverage(
        curve.mass_between(*window),
        sure,
        possible,
        len(p),
        finished >= MIN_FINISHED_COATS,
        tuple(curve.mass_between(-1.0, chance) for chance in WORN_CHANCES),
    )
