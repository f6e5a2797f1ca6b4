"""What must follow when a deck or its place changes; apps above register themselves here (see reminders/apps.py)."""

from collections.abc import Callable, Collection

after_deck: list[Callable[[Collection[int]], None]] = []


def decks_changed(deck_ids: Collection[int]) -> None:
    """Call it inside the transaction of the change."""
    for follow in after_deck:
        follow(deck_ids)
