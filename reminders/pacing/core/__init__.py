"""Pacing: whom to remind in which week, so that answers fill the crews and no more. Only arrays: no database."""

from reminders.pacing.core.chances import Beta, still
from reminders.pacing.core.placing import placed, usual_week
from reminders.pacing.core.problem import FREE, LEFT_OUT, Hours, Lead, Rules, Work, values
from reminders.pacing.core.rivals import in_order
from reminders.pacing.core.saving import monthly_rates, saved, strip_chances
from reminders.pacing.core.solve import Pace, pace, reckoned
from reminders.pacing.core.stretches import by_week, overrun_chances, spread, stretches

__all__ = [
    "FREE",
    "LEFT_OUT",
    "Beta",
    "Hours",
    "Lead",
    "Pace",
    "Rules",
    "Work",
    "by_week",
    "in_order",
    "monthly_rates",
    "overrun_chances",
    "pace",
    "placed",
    "reckoned",
    "saved",
    "spread",
    "still",
    "stretches",
    "strip_chances",
    "usual_week",
    "values",
]
