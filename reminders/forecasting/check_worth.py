"""For which decks it is worth asking the client how the coat looks."""

from collections.abc import Collection
from datetime import date

from reminders import forecast
from reminders.forecasting import bridge
from reminders.forecasting.bridge import read_newest_coats
from reminders.forecasting.price_ratio import charged_price_ratio

# Of the price of a recoat; less is not worth five minutes of the client (judgement).
MIN_CHECK_WORTH = 0.03


def client_check_worth(deck_ids: Collection[int], *, today: date) -> dict[int, float]:
    """Deck → what the client's answer is worth, in prices of a recoat; only where it is worth
    asking."""
    coats = read_newest_coats(sorted(deck_ids), today=today) if deck_ids else None
    if coats is None:
        return {}
    values = forecast.client_check_values(
        bridge.core_coats(coats, today=today),
        bridge.active_posterior(),
        bridge.epoch_days(today),
        strip_price=charged_price_ratio(today=today),
    )
    found = zip(coats.deck_id, values.tolist(), strict=True)
    return {deck: value for deck, value in found if value >= MIN_CHECK_WORTH}
