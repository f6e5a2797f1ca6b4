"""Pacing: whom to remind in which week, so that answers fill the crews and no more. Only arrays:
no database."""

from reminders.pacing.core.baselines import assign_in_order
from reminders.pacing.core.chances import Beta, remaining_chance
from reminders.pacing.core.hall_intervals import (
    hall_intervals,
    moments_by_week,
    overrun_chances,
    standard_deviation,
)
from reminders.pacing.core.placing import expected_work_week, place_hours
from reminders.pacing.core.problem import (
    EXCLUDED,
    FREE_CHOICE,
    CrewHours,
    LeadTime,
    PacingRules,
    ReminderCandidates,
    reminder_values,
)
from reminders.pacing.core.saving import monthly_upkeep_rates, savings_by_age, strip_chances_by_age
from reminders.pacing.core.solve import PacingSolution, evaluate_weeks, solve_pacing

__all__ = [
    "EXCLUDED",
    "FREE_CHOICE",
    "Beta",
    "CrewHours",
    "LeadTime",
    "PacingRules",
    "PacingSolution",
    "ReminderCandidates",
    "assign_in_order",
    "evaluate_weeks",
    "expected_work_week",
    "hall_intervals",
    "moments_by_week",
    "monthly_upkeep_rates",
    "overrun_chances",
    "place_hours",
    "remaining_chance",
    "reminder_values",
    "savings_by_age",
    "solve_pacing",
    "standard_deviation",
    "strip_chances_by_age",
]
