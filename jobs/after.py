"""What apps above want done, in the same transaction, after jobs, bookings or answers of clients
changed.

The jobs app may not import them; they add their function here when they start (reminders/apps.py).
"""

from collections.abc import Callable, Collection

job_change_listeners: list[Callable[[Collection[int]], None]] = []


def publish_job_changes(deck_ids: Collection[int]) -> None:
    """Tell everyone who asked."""
    for listener in job_change_listeners:
        listener(deck_ids)


booking_listeners: list[Callable[[Collection[int], str], None]] = []
decline_listeners: list[Callable[[Collection[int], str], None]] = []


def publish_bookings(deck_ids: Collection[int], description: str) -> None:
    """Call it inside the transaction that books these decks; the words say what happened."""
    for listener in booking_listeners:
        listener(deck_ids, description)


def publish_declines(deck_ids: Collection[int], description: str) -> None:
    """Call it inside the transaction in which a client declined work on these decks."""
    for listener in decline_listeners:
        listener(deck_ids, description)
