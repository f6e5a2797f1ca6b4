"""What apps above want done, in the same transaction, after jobs, bookings or answers of clients changed.

The jobs app may not import them; they add their function here when they start (reminders/apps.py).
"""

from collections.abc import Callable, Collection

after_job: list[Callable[[Collection[int]], None]] = []


def jobs_changed(deck_ids: Collection[int]) -> None:
    """Tell everyone who asked."""
    for act in after_job:
        act(deck_ids)


after_booking: list[Callable[[Collection[int], str], None]] = []
after_decline: list[Callable[[Collection[int], str], None]] = []


def decks_booked(deck_ids: Collection[int], words: str) -> None:
    """Call it inside the transaction that books these decks; the words say what happened."""
    for act in after_booking:
        act(deck_ids, words)


def decks_declined(deck_ids: Collection[int], words: str) -> None:
    """Call it inside the transaction in which a client declined work on these decks."""
    for act in after_decline:
        act(deck_ids, words)
