"""What the work on each deck takes and brings: hours as an offer would have them; money as it was
charged there last, else estimated and said to be so, else not known."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import NamedTuple

import numpy as np

from jobs.offers import DeckListPrice, list_prices_by_deck
from reminders.forecast import Floats
from reminders.forecast.arrays import Booleans
from reminders.forecasting import middle_prices
from reminders.pacing import LabourTimes, last_charged_prices

WORK_KINDS = ("recoat", "strip")


class WornDeck(NamedTuple):
    """A deck with a running coat; columns of the forecast."""

    deck_id: int
    site_id: int
    area_m2: Decimal | None


@dataclass(frozen=True)
class DeckWorth:
    """What the work on n decks takes and brings, for each kind of work; money is NaN where nobody
    knows it, and an estimate where it was never charged on the deck."""

    hours: Floats  # shape (n, 2), as WORK_KINDS
    money: Floats
    is_estimate: Booleans
    is_strip: Booleans  # shape (n,): the next job is a strip, as its scope has it
    visit: Floats  # shape (n,): of the hours those of the visit


def deck_worth(
    decks: Sequence[WornDeck], times: LabourTimes, *, today: date, currency: str
) -> DeckWorth:
    """In a fixed number of queries; the visit of a property is shared by its decks."""
    own = last_charged_prices([deck.deck_id for deck in decks], today=today, currency=currency)
    middle = middle_prices(today=today, currency=currency)
    homes = Counter(deck.site_id for deck in decks)
    hours = np.zeros((len(decks), 2))
    money = np.full((len(decks), 2), np.nan)
    is_estimate = np.zeros((len(decks), 2), dtype=bool)
    visits = np.zeros(len(decks))
    listed = prices_by_list(decks, own, middle, today)
    for place, deck in enumerate(decks):
        labour = times.decks[deck.deck_id]
        visit = visits[place] = labour.visit / homes[deck.site_id]
        hours[place] = visit + labour.recoat, visit + labour.strip
        for column, kind in enumerate(WORK_KINDS):
            charged = own.get((deck.deck_id, kind))
            guess = price_estimate(deck, kind, middle, listed, homes[deck.site_id])
            money[place, column] = guess if charged is None else charged
            is_estimate[place, column] = charged is None
    is_strip = np.array([times.decks[deck.deck_id].is_strip for deck in decks], dtype=bool)
    return DeckWorth(hours, money, is_estimate, is_strip, visits)


def prices_by_list(
    decks: Sequence[WornDeck],
    own: Mapping[tuple[int, str], float],
    middle: Mapping[str, float],
    today: date,
) -> Mapping[int, DeckListPrice]:
    """Of the decks that have no other price; asked for only where there are any."""
    kinds = [kind for kind in WORK_KINDS if kind not in middle]
    wanted = [
        deck.deck_id for deck in decks if any((deck.deck_id, kind) not in own for kind in kinds)
    ]
    return list_prices_by_deck(wanted, today=today)


def price_estimate(
    deck: WornDeck,
    kind: str,
    middle: Mapping[str, float],
    listed: Mapping[int, DeckListPrice],
    decks_at_home: int,
) -> float:
    """Where nothing was charged on the deck: what a m² costs in the middle of the others, else the
    price list; NaN where neither says anything or nobody knows the size."""
    if deck.area_m2 is None:
        return np.nan
    if kind in middle:
        return middle[kind] * float(deck.area_m2)
    price = listed.get(deck.deck_id)
    if price is None:
        return np.nan
    work = price.strip if kind == "strip" else price.recoat
    return work + price.visit / decks_at_home
