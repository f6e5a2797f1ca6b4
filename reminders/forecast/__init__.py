"""The forecast: when each coat is due, why, and how sure that is. Pure arrays: no database, no clock, no files."""

from reminders.forecast.clock import WEIGHTS, Clock, ClockWeights, seasonal_rate
from reminders.forecast.coats import FILM_CLASSES, VOCABULARY, Coats
from reminders.forecast.exposure import COLUMNS, FACTORS, design, sun_on_deck
from reminders.forecast.posterior import Posterior
from reminders.forecast.predict import Prediction, predict
from reminders.forecast.priors import PRIOR, PRIORS, Prior

__all__ = [
    "COLUMNS",
    "FACTORS",
    "FILM_CLASSES",
    "PRIOR",
    "PRIORS",
    "VOCABULARY",
    "WEIGHTS",
    "Clock",
    "ClockWeights",
    "Coats",
    "Posterior",
    "Prediction",
    "Prior",
    "design",
    "predict",
    "seasonal_rate",
    "sun_on_deck",
]
