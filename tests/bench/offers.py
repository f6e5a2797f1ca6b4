"""Drafting offers for a due list, forecast, scope, materials, prices and all, against the questions
it asks in SQL."""

from datetime import date, datetime
from decimal import Decimal

from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext

from clients.models import Deck
from jobs.models import Offer, Pack, PriceList, Product, Rate, Tax
from reminders.actions import refresh_forecasts
from reminders.offer_drafting import draft_offers
from tests.bench.pages import run_statements
from tests.bench.timing import elapsed_seconds

RATES = [
    ("set_up", "job"),
    ("clean", "m2"),
    ("strip", "m2"),
    ("brighten", "m2"),
    ("sand", "m2"),
    ("coat", "m2"),
    ("clean", "m"),
    ("coat", "m"),
    ("coat", "tread"),
]


def measure_offer_drafting(offers: int, today: date, now: datetime) -> dict[str, float]:
    """So many drafts, one deck each, kept in the database."""
    decks = list(Deck.objects.order_by("pk").values_list("pk", flat=True)[:offers])
    refresh_forecasts(deck_ids=decks, today=today, now=now)
    make_bench_prices()
    with (
        transaction.atomic(),
        CaptureQueriesContext(connection) as captured,
    ):  # once to learn the statements
        draft_offers(deck_ids=decks, today=today, now=now, by=None)
        transaction.set_rollback(True)
    questions = [query["sql"] for query in captured if query["sql"].startswith("SELECT")]
    took = elapsed_seconds(lambda: draft_offers(deck_ids=decks, today=today, now=now, by=None))
    asked = elapsed_seconds(lambda: run_statements(questions))
    return {
        "offers": float(Offer.objects.filter(state=Offer.State.DRAFT).count()),
        "statements": float(len(captured)),
        "drafted_s": took,
        "sql_s": asked,
        "ratio": took / asked,
    }


def make_bench_prices() -> None:
    """Once: prices with minutes, and packs."""
    if PriceList.objects.exists():
        return
    prices = PriceList.objects.create(
        valid_from=date(2020, 1, 1), currency="CAD", travel_per_km=Decimal("1.10")
    )
    Rate.objects.bulk_create(
        Rate(price_list=prices, task=task, per=per, amount=Decimal(5), minutes=Decimal(4))
        for task, per in RATES
    )
    Tax.objects.create(price_list=prices, name="HST", percent=Decimal(15))
    for product in Product.objects.all():
        for litres, price in ((1, 40), (4, 145), (20, 690)):
            Pack.objects.create(product=product, litres=Decimal(litres), price=Decimal(price))
