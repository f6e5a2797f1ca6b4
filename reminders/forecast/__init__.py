"""The forecast: when each coat is due, why, and how sure that is. Pure arrays:
no database, no clock, no files.

An interval-censored accelerated-failure-time model with a log-normal frailty of each deck, a
REML-type correction of the two variance components, and a Laplace posterior.
"""

from reminders.forecast.arrays import Floats
from reminders.forecast.backtesting import FORECAST_NAMES, Backtest, backtest
from reminders.forecast.check_value import client_check_values
from reminders.forecast.clock import SeasonalClock, seasonal_rate
from reminders.forecast.coating_plan import (
    CalendarMonth,
    UpkeepRule,
    best_workable_month,
    plan_coating_jobs,
    workable_months,
)
from reminders.forecast.coats import UNKNOWN, Coats
from reminders.forecast.due_chances import worn_chances_by_day
from reminders.forecast.exposure import (
    FACTORS,
    SUNSHINE_BIAS,
    extraterrestrial_radiation,
    radiation_from_sunshine,
    sun_on_deck,
)
from reminders.forecast.inspection_data import (
    InspectionData,
    scored_visits,
    worn_chances_at_visits,
)
from reminders.forecast.intervals import STRIP_RATIO, Visits, life_bounds
from reminders.forecast.lognormal import truncated_normal_cdf
from reminders.forecast.posterior import Fit, Posterior
from reminders.forecast.prediction import UNKNOWNS, Prediction, predict
from reminders.forecast.priors import PUBLISHED_PRIOR
from reminders.forecast.replacement import optimal_recoat_age
from reminders.forecast.scoring import MIN_FINISHED_COATS, CalibrationBin, log_scores
from reminders.forecast.unknown_mix import PUBLISHED_MIX, UnknownMix
from reminders.forecast.waiting_risk import strip_chances_after_waits

__all__ = [
    "FACTORS",
    "FORECAST_NAMES",
    "MIN_FINISHED_COATS",
    "PUBLISHED_MIX",
    "PUBLISHED_PRIOR",
    "STRIP_RATIO",
    "SUNSHINE_BIAS",
    "UNKNOWN",
    "UNKNOWNS",
    "Backtest",
    "CalendarMonth",
    "CalibrationBin",
    "Coats",
    "Fit",
    "Floats",
    "InspectionData",
    "Posterior",
    "Prediction",
    "SeasonalClock",
    "UnknownMix",
    "UpkeepRule",
    "Visits",
    "backtest",
    "best_workable_month",
    "client_check_values",
    "extraterrestrial_radiation",
    "life_bounds",
    "log_scores",
    "optimal_recoat_age",
    "plan_coating_jobs",
    "predict",
    "radiation_from_sunshine",
    "scored_visits",
    "seasonal_rate",
    "strip_chances_after_waits",
    "sun_on_deck",
    "truncated_normal_cdf",
    "workable_months",
    "worn_chances_at_visits",
    "worn_chances_by_day",
]
