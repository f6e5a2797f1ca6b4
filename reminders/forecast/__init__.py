"""The forecast: when each coat is due, why, and how sure that is. Pure arrays:
no database, no clock, no files."""

from reminders.forecast import climate
from reminders.forecast.backtesting import FORECAST_NAMES, Backtest, backtest
from reminders.forecast.clock import CLOCK_WEIGHTS, ClockWeights, SeasonalClock, seasonal_rate
from reminders.forecast.coating_plan import (
    MAX_COATS_BEFORE_STRIP,
    CalendarMonth,
    PlannedCoatingJob,
    best_workable_month,
    plan_coating_jobs,
    workable_months,
)
from reminders.forecast.coats import CATEGORY_LEVELS, FILM_CLASSES, Coats
from reminders.forecast.distribution_check import (
    DistributionComparison,
    compare_distributions,
)
from reminders.forecast.exposure import DESIGN_COLUMNS, FACTORS, design_matrix, sun_on_deck
from reminders.forecast.fitting import MISCLASSIFICATION, Fit, fit
from reminders.forecast.inspection_data import Comparison, InspectionData, compare_fits
from reminders.forecast.intervals import (
    STRIP_RATIO,
    VISIT_REASONS,
    CensoredLives,
    LifeBounds,
    Visits,
    censored_lives,
    life_bounds,
)
from reminders.forecast.posterior import Posterior
from reminders.forecast.prediction import Prediction, predict
from reminders.forecast.priors import COEFFICIENT_PRIORS, PUBLISHED_PRIOR, CoefficientPrior
from reminders.forecast.replacement import ReplacementPolicy, optimal_recoat_age
from reminders.forecast.scoring import (
    CalibrationBin,
    ForecastScores,
    WindowCoverage,
    calibration_bins,
    estimate_window_coverage,
    log_scores,
    score_forecast,
)
from reminders.forecast.turnbull import TurnbullEstimate, turnbull_estimate
from reminders.forecast.waiting_risk import strip_chances_after_waits

__all__ = [
    "CATEGORY_LEVELS",
    "CLOCK_WEIGHTS",
    "COEFFICIENT_PRIORS",
    "DESIGN_COLUMNS",
    "FACTORS",
    "FILM_CLASSES",
    "FORECAST_NAMES",
    "MAX_COATS_BEFORE_STRIP",
    "MISCLASSIFICATION",
    "PUBLISHED_PRIOR",
    "STRIP_RATIO",
    "VISIT_REASONS",
    "Backtest",
    "CalendarMonth",
    "CalibrationBin",
    "CensoredLives",
    "ClockWeights",
    "Coats",
    "CoefficientPrior",
    "Comparison",
    "DistributionComparison",
    "Fit",
    "ForecastScores",
    "InspectionData",
    "LifeBounds",
    "PlannedCoatingJob",
    "Posterior",
    "Prediction",
    "ReplacementPolicy",
    "SeasonalClock",
    "TurnbullEstimate",
    "Visits",
    "WindowCoverage",
    "backtest",
    "best_workable_month",
    "calibration_bins",
    "censored_lives",
    "climate",
    "compare_distributions",
    "compare_fits",
    "design_matrix",
    "estimate_window_coverage",
    "fit",
    "life_bounds",
    "log_scores",
    "optimal_recoat_age",
    "plan_coating_jobs",
    "predict",
    "score_forecast",
    "seasonal_rate",
    "strip_chances_after_waits",
    "sun_on_deck",
    "turnbull_estimate",
    "workable_months",
]
