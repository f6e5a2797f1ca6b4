"""Forecasts of the book: its rows handed to the numerical core, the fit in use, what it says and
how well."""

from reminders.forecasting.accuracy import (
    MIN_MEANINGFUL_VISITS,
    count_graded_visits,
    newest_figures,
    visits_still_needed,
)
from reminders.forecasting.bridge import NewestCoats, postgres_array, read_newest_coats
from reminders.forecasting.check_worth import client_check_worth
from reminders.forecasting.curve import forecast_wear_curve
from reminders.forecasting.due_surfaces import DueSurfaces, visit_advice
from reminders.forecasting.price_ratio import (
    MAX_PRICE_AGE,
    MIN_PRICED_JOBS,
    STRIP_PRICE_RATIO,
    WAS_ON_BOARDS_SQL,
    kept_middle_prices,
    middle_prices,
)
from reminders.forecasting.reasons import (
    factor_phrase,
    factors_with_months,
    missing_phrases,
    missing_reasons,
    ranked_reasons,
    reasons_for_client,
    signed_months,
)
from reminders.forecasting.surfaces import belief_about, read_leading_coats, read_surface_coats
from reminders.forecasting.upkeep import deck_upkeep

__all__ = [
    "MAX_PRICE_AGE",
    "MIN_MEANINGFUL_VISITS",
    "MIN_PRICED_JOBS",
    "STRIP_PRICE_RATIO",
    "WAS_ON_BOARDS_SQL",
    "DueSurfaces",
    "NewestCoats",
    "belief_about",
    "client_check_worth",
    "count_graded_visits",
    "deck_upkeep",
    "factor_phrase",
    "factors_with_months",
    "forecast_wear_curve",
    "kept_middle_prices",
    "middle_prices",
    "missing_phrases",
    "missing_reasons",
    "newest_figures",
    "postgres_array",
    "ranked_reasons",
    "read_leading_coats",
    "read_newest_coats",
    "read_surface_coats",
    "reasons_for_client",
    "signed_months",
    "visit_advice",
    "visits_still_needed",
]
