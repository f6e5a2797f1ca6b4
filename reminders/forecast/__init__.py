"""The forecast: when each coat is due, why, and how sure that is. Pure arrays: no database, no clock, no files."""

from reminders.forecast import climate
from reminders.forecast.backtest import FORECASTS, Backtest, backtest
from reminders.forecast.book import Book, Verdict, judge
from reminders.forecast.clock import WEIGHTS, Clock, ClockWeights, seasonal_rate
from reminders.forecast.coats import FILM_CLASSES, VOCABULARY, Coats
from reminders.forecast.exposure import COLUMNS, FACTORS, design, sun_on_deck
from reminders.forecast.fit import MISGRADE, Fit, fit
from reminders.forecast.intervals import REASONS, STRIP_RATIO, Bounds, Lives, Visits, bounds, lives
from reminders.forecast.plan import MOST_COATS, Month, PlannedJob, best_month, plan, workable_months
from reminders.forecast.posterior import Posterior
from reminders.forecast.predict import Prediction, predict
from reminders.forecast.priors import PRIOR, PRIORS, Prior
from reminders.forecast.replacement import BestAge, best_recoat_age
from reminders.forecast.scoring import Bin, Coverage, Scores, coverage, log_scores, reliability, score
from reminders.forecast.shape import ShapeOfLife, shape_of_life
from reminders.forecast.turnbull import Curve, turnbull
from reminders.forecast.waiting import strip_chances

__all__ = [
    "COLUMNS",
    "FACTORS",
    "FILM_CLASSES",
    "FORECASTS",
    "MISGRADE",
    "MOST_COATS",
    "PRIOR",
    "PRIORS",
    "REASONS",
    "STRIP_RATIO",
    "VOCABULARY",
    "WEIGHTS",
    "Backtest",
    "BestAge",
    "Bin",
    "Book",
    "Bounds",
    "Clock",
    "ClockWeights",
    "Coats",
    "Coverage",
    "Curve",
    "Fit",
    "Lives",
    "Month",
    "PlannedJob",
    "Posterior",
    "Prediction",
    "Prior",
    "Scores",
    "ShapeOfLife",
    "Verdict",
    "Visits",
    "backtest",
    "best_month",
    "best_recoat_age",
    "bounds",
    "climate",
    "coverage",
    "design",
    "fit",
    "judge",
    "lives",
    "log_scores",
    "plan",
    "predict",
    "reliability",
    "score",
    "seasonal_rate",
    "shape_of_life",
    "strip_chances",
    "sun_on_deck",
    "turnbull",
    "workable_months",
]
