"""What the forecast says about a deck, for the papers and public pages of this app.

The forecast lives in an app above, which may not be imported here; it adds its teller when it
starts.
"""

from collections.abc import Callable, Collection
from dataclasses import dataclass
from datetime import date


@dataclass(frozen=True)
class ForecastSummary:
    """The window of the coat that is on a deck now, and its wear curve drawn as SVG without a style
    of its own."""

    coat_on: date
    window_opens_on: date
    due_on: date
    late_on: date
    chance_worn: float
    picture: str


forecast_providers: list[Callable[[Collection[int], date], dict[int, ForecastSummary]]] = []


def forecast_summary_by_deck(
    deck_ids: Collection[int], *, today: date
) -> dict[int, ForecastSummary]:
    """By deck; a deck that has no forecast is left out."""
    summaries: dict[int, ForecastSummary] = {}
    for provider in forecast_providers:
        summaries |= provider(deck_ids, today)
    return summaries
