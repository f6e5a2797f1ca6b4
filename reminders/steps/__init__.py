"""Reminder steps: which word of the sequence is next for each coat, when it may go, by which
channel, and why not."""

from reminders.steps.drafts import Draft, plan_fingerprint, unwritable_decks, write_drafts
from reminders.steps.facts import coats_on_decks, is_anchored_before
from reminders.steps.planner import (
    DueStep,
    LeftOut,
    PlannedMessage,
    ReminderPlan,
    ReminderPlanner,
    ReminderRequest,
    plan_reminders,
)
from reminders.steps.reminder_status import ReminderStatus, deck_reminder_state, reminder_statuses
from reminders.steps.sequence import PENDING_STATES, UNREACHED_STATES
from reminders.steps.settings import save_sequence

__all__ = [
    "PENDING_STATES",
    "UNREACHED_STATES",
    "Draft",
    "DueStep",
    "LeftOut",
    "PlannedMessage",
    "ReminderPlan",
    "ReminderPlanner",
    "ReminderRequest",
    "ReminderStatus",
    "coats_on_decks",
    "deck_reminder_state",
    "is_anchored_before",
    "plan_fingerprint",
    "plan_reminders",
    "reminder_statuses",
    "save_sequence",
    "unwritable_decks",
    "write_drafts",
]
