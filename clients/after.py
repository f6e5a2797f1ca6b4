"""What must follow when a deck or its place changes or a client leaves; apps above register (reminders/apps.py)."""

from collections.abc import Callable, Collection

after_deck: list[Callable[[Collection[int]], None]] = []


def decks_changed(deck_ids: Collection[int]) -> None:
    """Call it inside the transaction of the change."""
    for follow in after_deck:
        follow(deck_ids)


after_leaving: list[Callable[[Collection[int], str], None]] = []


def clients_left(client_ids: Collection[int], words: str) -> None:
    """Call it inside the transaction in which clients asked to hear no more, or were put away; the words say which."""
    for follow in after_leaving:
        follow(client_ids, words)
