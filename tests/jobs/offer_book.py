"""A price list with everything on it, decks with a past, and drafts, for the tests of offers."""

from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any

from clients.models import Deck
from jobs.actions import offers
from jobs.models import Offer, PriceList, Rate, Tax
from jobs.offers import DeckOutlook, OfferBrief, Outlook
from jobs.scope import propose_scopes
from tests.factories import (
    CoatFactory,
    ConsentFactory,
    DeckFactory,
    EmailFactory,
    PackFactory,
    PriceListFactory,
)

NOW = datetime(2026, 11, 25, 15, tzinfo=UTC)
TODAY = date(2026, 11, 25)
RATES = [
    ("set_up", "job", "60", "45"),
    ("clean", "m2", "3.20", "2"),
    ("strip", "m2", "9.50", "8"),
    ("brighten", "m2", "1.20", "1"),
    ("sand", "m2", "2.80", "3"),
    ("coat", "m2", "4.10", "4"),
    ("clean", "m", "3", "3"),
    ("strip", "m", "14", "12"),
    ("brighten", "m", "2", "2"),
    ("coat", "m", "6", "7"),
]


def price_list(valid_from: date = date(2025, 1, 1), **over: Any) -> PriceList:
    made: PriceList = PriceListFactory(valid_from=valid_from, **over)
    for task, per, amount, minutes in RATES:
        Rate.objects.create(
            price_list=made, task=task, per=per, amount=Decimal(amount), minutes=Decimal(minutes)
        )
    Tax.objects.create(price_list=made, name="HST", percent=Decimal(15))
    return made


def deck(**over: Any) -> Deck:
    """18 m² that were stripped and sealed in June 2025 with a finish of which packs are sold."""
    made: Deck = DeckFactory(**over)
    coat = CoatFactory(job__deck=made, job__finished_on=date(2025, 6, 12))
    PackFactory(product=coat.product)
    return made


def reachable(of: Deck) -> Deck:
    """Its client has an address and agreed to e-mail."""
    client = of.site.client
    EmailFactory(client=client)
    ConsentFactory(client=client)
    return of


def drafted(*decks: Deck, **over: Any) -> Offer:
    """A draft for decks of one property; waiting makes a strip likelier."""
    listed = list(decks) or [reachable(deck())]
    risk = DeckOutlook(
        date(2026, 9, 1), date(2027, 1, 15), date(2027, 6, 1), 0.02, {6: 0.1, 12: 0.4}
    )
    asked: dict[str, Any] = {
        "site": listed[0].site,
        "scopes": list(propose_scopes(listed, today=TODAY).values()),
        "outlook": Outlook({each.pk: risk for each in listed}, TODAY, "test"),
        "today": TODAY,
        "now": NOW,
        "by": None,
    }
    asked |= over
    brief = OfferBrief(asked.pop("site"), asked.pop("scopes"), asked.pop("outlook"))
    made, problems = offers.draft_offer_batch(briefs=[brief], **asked)
    if problems:
        raise problems[0][1]
    return made[0]
