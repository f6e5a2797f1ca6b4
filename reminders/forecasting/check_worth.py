"""For which decks it is worth asking the client how the coat looks."""

from collections.abc import Collection
from datetime import date

from django.db import connection

from reminders import forecast
from reminders.forecasting import bridge
from reminders.forecasting.bridge import read_newest_coats
from reminders.forecasting.upkeep import MAX_PRICE_AGE, MIN_PRICED_JOBS

# Of the price of a recoat; less is not worth five minutes of the client (judgement).
MIN_CHECK_WORTH = 0.03
STRIP_PRICE_RATIO = 2.2  # while the book has no prices of its own (judgement)
MIN_RATIO, MAX_RATIO = 1.1, 6.0  # what prices of few jobs may say

MIDDLE_PRICES_SQL = """
SELECT j.kind, percentile_cont(0.5) WITHIN GROUP (ORDER BY j.amount / d.area_m2), count(*)
FROM jobs_job j JOIN clients_deck d ON d.id = j.deck_id
WHERE j.kind IN ('recoat', 'strip') AND j.amount > 0 AND d.area_m2 > 0
    AND j.finished_on > %(since)s
GROUP BY j.kind
"""


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
        strip_price=strip_price_ratio(today=today),
    )
    found = zip(coats.deck_id, values.tolist(), strict=True)
    return {deck: value for deck, value in found if value >= MIN_CHECK_WORTH}


def strip_price_ratio(*, today: date) -> float:
    """The middle price a square metre of a strip against that of a recoat, as charged."""
    with connection.cursor() as cursor:
        cursor.execute(MIDDLE_PRICES_SQL, {"since": today - MAX_PRICE_AGE})
        prices = {
            kind: float(middle)
            for kind, middle, jobs in cursor.fetchall()
            if jobs >= MIN_PRICED_JOBS
        }
    if len(prices) < 2:
        return STRIP_PRICE_RATIO
    return min(max(prices["strip"] / prices["recoat"], MIN_RATIO), MAX_RATIO)
