"""Reminder steps: which word of the sequence is next for each coat, when it may go, by which
channel, and why not."""

from reminders.steps.planner import (
    DueStep,
    LeftOut,
    PlannedMessage,
    ReminderPlan,
    ReminderRequest,
    plan_reminders,
)

__all__ = [
    "DueStep",
    "LeftOut",
    "PlannedMessage",
    "ReminderPlan",
    "ReminderRequest",
    "plan_reminders",
]
