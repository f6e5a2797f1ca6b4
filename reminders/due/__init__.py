"""The due list of a month, and a deck with its forecast as one row of a query."""

from reminders.due.deck_rows import DeckRow, value_columns

__all__ = ["DeckRow", "value_columns"]
