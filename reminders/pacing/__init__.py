"""The pacing plan of the book: its question put together, the plan kept, and shown.
The arithmetic is in `core`."""

from reminders.pacing.actions import (
    choose_week,
    clear_chosen_week,
    compute_pacing_plan,
    save_pacing_plan,
)
from reminders.pacing.inputs import Horizon, PacingError, horizon_from_month
from reminders.pacing.labour import LabourTimes, labour_times
from reminders.pacing.savings import deck_prices, last_charged_prices
from reminders.pacing.summary import HouseholdLine, PlanSummary

__all__ = [
    "Horizon",
    "HouseholdLine",
    "LabourTimes",
    "PacingError",
    "PlanSummary",
    "choose_week",
    "clear_chosen_week",
    "compute_pacing_plan",
    "deck_prices",
    "horizon_from_month",
    "labour_times",
    "last_charged_prices",
    "save_pacing_plan",
]
