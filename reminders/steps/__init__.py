"""Reminder steps: which word of the sequence is next for each coat, when it may go, by which channel, and why not."""

from reminders.steps.planning import LeftOut, Plan, Planned, Word, plan

__all__ = ["LeftOut", "Plan", "Planned", "Word", "plan"]
