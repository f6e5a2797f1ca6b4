"""The forecast: when each coat is due, why, and how sure that is. Pure arrays:
no database, no clock, no files.

An interval-censored accelerated-failure-time model with a log-normal frailty of each deck, a
REML-type correction of the two variance components, and a Laplace posterior. Grades say worn or
not, or all that an ordinal model about a path of wear reads in them (`wear_path`).
"""

from reminders.forecast.arrays import Booleans, Floats
from reminders.forecast.backtesting import (
    FORECAST_NAMES,
    Backtest,
    backtest,
    simple_rule_scores,
)
from reminders.forecast.check_value import CLIENT_SKILL, CREW_SKILL, LookSkill, look_values
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
    deck_clock,
    extraterrestrial_radiation,
    radiation_from_sunshine,
    sun_on_deck,
)
from reminders.forecast.inspection_data import (
    InspectionData,
    scored_visits,
    worn_chances_at_visits,
)
from reminders.forecast.intervals import Visits, life_bounds
from reminders.forecast.lognormal import truncated_normal_cdf
from reminders.forecast.pooling import LearnedBook, pool_learned
from reminders.forecast.posterior import Fit, Posterior
from reminders.forecast.prediction import UNKNOWNS, Prediction, inspected_lives, predict
from reminders.forecast.priors import PUBLISHED_PRIOR, SURFACE_PRIORS
from reminders.forecast.replacement import (
    UpkeepLaw,
    optimal_recoat_age,
    recoats_between_strips,
    upkeep_table,
)
from reminders.forecast.scoring import MIN_FINISHED_COATS, WORN_CHANCES, CalibrationBin
from reminders.forecast.trial import FitTrial, try_fit
from reminders.forecast.unknown_mix import PUBLISHED_MIX, UnknownMix
from reminders.forecast.waiting_risk import strip_chances_after_waits
from reminders.forecast.wear_limits import (
    FILM_WEAR,
    LOOK_CHANCE,
    OIL_WEAR,
    STRIP_CHANCE,
    WearLimits,
    film_shares,
    strip_ratios,
)
from reminders.forecast.wear_path import WearPath
from reminders.forecast.work_day import best_work_days

__all__ = [
    "CLIENT_SKILL",
    "CREW_SKILL",
    "FACTORS",
    "FILM_WEAR",
    "FORECAST_NAMES",
    "LOOK_CHANCE",
    "MIN_FINISHED_COATS",
    "OIL_WEAR",
    "PUBLISHED_MIX",
    "PUBLISHED_PRIOR",
    "STRIP_CHANCE",
    "SUNSHINE_BIAS",
    "SURFACE_PRIORS",
    "UNKNOWN",
    "UNKNOWNS",
    "WORN_CHANCES",
    "Backtest",
    "Booleans",
    "CalendarMonth",
    "CalibrationBin",
    "Coats",
    "Fit",
    "FitTrial",
    "Floats",
    "InspectionData",
    "LearnedBook",
    "LookSkill",
    "Posterior",
    "Prediction",
    "SeasonalClock",
    "UnknownMix",
    "UpkeepLaw",
    "UpkeepRule",
    "Visits",
    "WearLimits",
    "WearPath",
    "backtest",
    "best_work_days",
    "best_workable_month",
    "deck_clock",
    "extraterrestrial_radiation",
    "film_shares",
    "inspected_lives",
    "life_bounds",
    "look_values",
    "optimal_recoat_age",
    "plan_coating_jobs",
    "pool_learned",
    "predict",
    "radiation_from_sunshine",
    "recoats_between_strips",
    "scored_visits",
    "seasonal_rate",
    "simple_rule_scores",
    "strip_chances_after_waits",
    "strip_ratios",
    "sun_on_deck",
    "truncated_normal_cdf",
    "try_fit",
    "upkeep_table",
    "workable_months",
    "worn_chances_at_visits",
    "worn_chances_by_day",
]
