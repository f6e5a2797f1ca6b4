"""Judging the model on the business's own book:
learn from the past at each origin, then score what follows."""

from dataclasses import dataclass

import numpy as np

from reminders.forecast.arrays import Floats
from reminders.forecast.fitting import FINE_QUADRATURE_NODES
from reminders.forecast.inspection_data import (
    InspectionData,
    ScoredVisits,
    scored_visits,
    worn_chances_at_visits,
)
from reminders.forecast.intervals import life_bounds
from reminders.forecast.lognormal import truncated_normal_cdf
from reminders.forecast.posterior import Posterior
from reminders.forecast.prediction import predict_log_life
from reminders.forecast.priors import PUBLISHED_PRIOR
from reminders.forecast.scoring import (
    CalibrationBin,
    ForecastScores,
    WindowCoverage,
    calibration_bins,
    estimate_window_coverage,
    score_forecast,
)

FLAT_RULE_DAYS = 365.25  # "every deck once a year"
YEAR_DAYS = 365.25
FORECAST_NAMES = ("learned", "prior", "flat_rule", "finish_average")


def _flat_rule_chances(past: ScoredVisits, tried: ScoredVisits) -> Floats:
    # The calendar rule says only "before" or "after" its day. To score it fairly it is given the
    # share that was found worn on either side so far, starting from one of each.
    late = past.days >= FLAT_RULE_DAYS
    rates = [(past.worn[side].sum() + 1) / (side.sum() + 2) for side in (~late, late)]
    return np.where(tried.days >= FLAT_RULE_DAYS, rates[1], rates[0])


def _finish_class_prior(prior: Posterior) -> Posterior:
    # The same model told nothing but the finish: every other coefficient is held at zero.
    keep = np.array(
        [
            n in ("reference", "log_sigma", "log_omega") or n.startswith("finish_")
            for n in prior.names
        ]
    )
    covariance = np.where(np.outer(keep, keep), prior.covariance, 0.0) + np.diag(
        np.where(keep, 0.0, 1e-10)
    )
    return Posterior(
        prior.names, np.where(keep, prior.mean, 0.0), covariance, f"{prior.version}-class"
    )


def simple_rule_scores(
    book: InspectionData, start: float, end: float, prior: Posterior = PUBLISHED_PRIOR
) -> dict[str, ForecastScores]:
    """Return how two rules that need no model would have done over the visits of a period.

    Parameters
    ----------
    book : InspectionData
        All coats and visits.
    start, end : float
        The period, in days since 1970-01-01; what came before it is learned from.
    prior : Posterior
        What is believed without visits.

    Returns
    -------
    dict of str to ForecastScores
        `flat_rule`, every deck once a year, and `finish_average`.
    """
    tried = scored_visits(book, start, end)
    average = book.fit_before(start, _finish_class_prior(prior), nodes=FINE_QUADRATURE_NODES)
    chances = {
        "flat_rule": _flat_rule_chances(scored_visits(book, -np.inf, start), tried),
        "finish_average": worn_chances_at_visits(book, tried, average.posterior),
    }
    return {name: score_forecast(chance, tried.worn) for name, chance in chances.items()}


@dataclass(frozen=True, eq=False)
class Backtest:
    """Scores of each forecast over the same visits.

    Parameters
    ----------
    scores : dict of str to Scores
        By name of `FORECAST_NAMES`.
    reliability : list of CalibrationBin
        Of the learned forecast.
    coverage : WindowCoverage
        How often lives ended inside its window.
    origins : int
        How often it was fitted.
    """

    scores: dict[str, ForecastScores]
    reliability: list[CalibrationBin]
    coverage: WindowCoverage
    origins: int


def backtest(
    book: InspectionData,
    first: float,
    last: float,
    *,
    step_days: float = YEAR_DAYS,
    prior: Posterior = PUBLISHED_PRIOR,
    along_path: bool = False,
) -> Backtest:
    """Go through the years as they came: learn, forecast the next period, look what was found, move
    on.

    Parameters
    ----------
    book : InspectionData
        All coats and visits.
    first : float
        The first origin, in days since 1970-01-01.
    last : float
        End of the last period.
    step_days : float
        Length of a period.
    prior : Posterior
        What is believed without visits.
    along_path : bool
        Whether the learned forecast reads grades along a path of wear.

    Returns
    -------
    Backtest
        Scores over all visits from `first` to `last`.
    """
    if not step_days > 0:
        raise ValueError(f"step_days must be above 0; got {step_days}")
    chances: dict[str, list[Floats]] = {name: [np.zeros(0)] for name in FORECAST_NAMES}
    worn = [np.zeros(0, dtype=bool)]
    ends = [np.zeros((0, 2))]
    origins = np.arange(first, last, step_days)
    learned = average = None
    for origin in origins:
        end = min(origin + step_days, last)
        tried = scored_visits(book, origin, end)
        learned = book.fit_before(origin, prior, start=learned, along_path=along_path).posterior
        average = book.fit_before(
            origin, _finish_class_prior(prior), nodes=FINE_QUADRATURE_NODES, start=average
        ).posterior
        found = _chances_by_forecast(book, origin, tried, prior, learned, average)
        for name, chance in found.items():
            chances[name].append(chance)
        worn.append(tried.worn)
        ends.append(_pit_intervals(book, origin, end, learned))
    seen = np.concatenate(worn)
    pairs = np.concatenate(ends)
    together = {name: np.concatenate(parts) for name, parts in chances.items()}
    scores = {name: score_forecast(chance, seen) for name, chance in together.items()}
    return Backtest(
        scores,
        calibration_bins(together["learned"], seen),
        estimate_window_coverage(pairs[:, 0], pairs[:, 1]),
        len(origins),
    )


def _chances_by_forecast(
    book: InspectionData,
    origin: float,
    tried: ScoredVisits,
    prior: Posterior,
    learned: Posterior,
    average: Posterior,
) -> dict[str, Floats]:
    past = scored_visits(book, -np.inf, origin)
    return {
        "learned": worn_chances_at_visits(book, tried, learned),
        "prior": worn_chances_at_visits(book, tried, prior),
        "flat_rule": _flat_rule_chances(past, tried),
        "finish_average": worn_chances_at_visits(book, tried, average),
    }


def _pit_intervals(book: InspectionData, origin: float, end: float, posterior: Posterior) -> Floats:
    # For coats put on in this period, forecast at the origin: the chances at the ages that bound
    # their lives.
    rows = np.flatnonzero((book.coats.coated_on >= origin) & (book.coats.coated_on < end))
    found = life_bounds(book.coats, book.visits)
    rows = rows[found.seen[rows] & ~found.conflict[rows]]
    mean, spread = predict_log_life(book.coats.take(rows), posterior)[:2]
    closed = np.full(len(rows), np.inf)
    with np.errstate(divide="ignore"):
        ends = [(np.log(age[rows]) - mean) / spread for age in (found.lower, found.upper)]
    return np.column_stack([truncated_normal_cdf(-closed, closed, z) for z in ends])
