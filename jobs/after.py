"""What apps above want done, in the same transaction, after the jobs of some decks changed.

The jobs app may not import them; they add their function here when they start (reminders/apps.py).
"""

from collections.abc import Callable, Collection

after_job: list[Callable[[Collection[int]], None]] = []


def jobs_changed(deck_ids: Collection[int]) -> None:
    """Tell everyone who asked."""
    for act in after_job:
        act(deck_ids)
