"""What a strip costs against a recoat, as this business charges them."""

from datetime import date, timedelta

from django.core.cache import cache
from django.db import connection

MAX_PRICE_AGE = timedelta(days=5 * 365)  # older prices say little about today's
# jobs elsewhere before their middle price a m² is taken for this deck (judgement)
MIN_PRICED_JOBS = 3
STRIP_PRICE_RATIO = 2.2  # while the book has no prices of its own (judgement)
MIN_RATIO, MAX_RATIO = 1.1, 6.0  # what prices of few jobs may say
PRICES_KEPT = 3600  # seconds: they move with a season, and the question reads every job

# What work on rails, stairs or screens alone cost says nothing of a deck; an index names the few
# products that went elsewhere alone. The rule of the view jobs_coat, which reads more.
WAS_ON_BOARDS_SQL = """(NOT EXISTS (
        SELECT FROM jobs_coatapplied elsewhere WHERE elsewhere.job_id = j.id
            AND NOT (elsewhere.surfaces @> ARRAY['boards']::varchar(7)[])
    ) OR EXISTS (SELECT FROM jobs_coat coat WHERE coat.job_id = j.id))"""

MIDDLE_PRICES_SQL = f"""
SELECT j.kind, percentile_cont(0.5) WITHIN GROUP (ORDER BY j.amount / d.area_m2), count(*)
FROM jobs_job j JOIN clients_deck d ON d.id = j.deck_id
WHERE j.kind IN ('recoat', 'strip') AND j.amount > 0 AND d.area_m2 > 0
    AND j.finished_on > %(since)s
    AND (%(currency)s::text IS NULL OR j.currency = %(currency)s)
    AND {WAS_ON_BOARDS_SQL}
GROUP BY j.kind
"""  # noqa: S608 - a constant


def middle_prices(*, today: date, currency: str | None) -> dict[str, float]:
    """By kind of job, what a m² costs in the middle; a kind that was hardly ever priced is left
    out. Without a currency prices of all are taken together."""
    with connection.cursor() as cursor:
        where = {"since": today - MAX_PRICE_AGE, "currency": currency}
        cursor.execute(MIDDLE_PRICES_SQL, where)
        rows = cursor.fetchall()
    return {kind: float(middle) for kind, middle, jobs in rows if jobs >= MIN_PRICED_JOBS}


def kept_middle_prices(*, today: date, currency: str) -> dict[str, float]:
    """The same, at most an hour old."""
    key = f"middle-prices/{currency}/{today}"
    found: dict[str, float] | None = cache.get(key)
    if found is None:
        found = middle_prices(today=today, currency=currency)
        cache.set(key, found, PRICES_KEPT)
    return found


def strip_price_ratio(*, today: date) -> float:
    """The middle price a square metre of a strip against that of a recoat, as charged."""
    key = f"strip-price-ratio/{today}"
    found: float | None = cache.get(key)
    if found is None:
        found = charged_price_ratio(today=today)
        cache.set(key, found, PRICES_KEPT)
    return found


def charged_price_ratio(*, today: date) -> float:
    prices = middle_prices(today=today, currency=None)
    if len(prices) < 2:
        return STRIP_PRICE_RATIO
    return min(max(prices["strip"] / prices["recoat"], MIN_RATIO), MAX_RATIO)
