"""What must follow when a deck or its place changes or a client leaves;
apps above register (reminders/apps.py)."""

from collections.abc import Callable, Collection

deck_change_listeners: list[Callable[[Collection[int]], None]] = []


def publish_deck_changes(deck_ids: Collection[int]) -> None:
    """Call it inside the transaction of the change."""
    for follow in deck_change_listeners:
        follow(deck_ids)


client_departure_listeners: list[Callable[[Collection[int], str], None]] = []


def publish_client_departures(client_ids: Collection[int], reason: str) -> None:
    """Call it inside the transaction in which clients asked to hear no more, or were put away;
    the words say which."""
    for follow in client_departure_listeners:
        follow(client_ids, reason)
