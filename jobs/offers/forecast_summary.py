"""What the forecast says about a deck, for the papers and public pages of this app.

The forecast lives in an app above, which may not be imported here; it adds its teller when it starts.
"""

from collections.abc import Callable, Collection
from dataclasses import dataclass
from datetime import date


@dataclass(frozen=True)
class Foretold:
    """The window of the coat that is on a deck now, and its wear curve drawn as SVG without a style of its own."""

    coat_on: date
    window_opens_on: date
    due_on: date
    late_on: date
    chance_worn: float
    picture: str


tellers: list[Callable[[Collection[int], date], dict[int, Foretold]]] = []


def foretold(deck_ids: Collection[int], *, today: date) -> dict[int, Foretold]:
    """By deck; a deck that has no forecast is left out."""
    told: dict[int, Foretold] = {}
    for tell in tellers:
        told |= tell(deck_ids, today)
    return told
