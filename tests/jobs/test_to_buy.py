"""What all booked work takes as one purchase:
what was agreed before the history, packs chosen for the whole."""

from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.test import Client
from freezegun import freeze_time

from clients.models import Deck, User
from jobs.models import Booking, Crew, Offer, OfferScope, PriceList
from tests.factories import (
    CoatFactory,
    DeckFactory,
    JobFactory,
    PackFactory,
    ProductFactory,
    TinFactory,
)

pytestmark = pytest.mark.django_db
D = Decimal
TODAY = date(2026, 7, 6)


@pytest.fixture(autouse=True)
def _july() -> Any:
    with freeze_time(datetime(2026, 7, 6, 12, tzinfo=UTC)):
        yield


def booked(deck: Deck, *, on: date, state: str = "booked", offer: Offer | None = None) -> Booking:
    crew, _ = Crew.objects.get_or_create(name="Tern crew")
    client = deck.site.client
    row = Booking.objects.create(
        client=client,
        site=deck.site,
        crew=crew,
        first_on=on,
        last_on=on,
        hours=6,
        state=state,
        offer=offer,
    )
    row.decks.add(deck)
    return row


def need(client: Client, what: str, **query: str) -> Any:
    needs = client.get("/jobs/to-buy/", query).context["needs"]
    return next((each for each in needs if each.what == what), None)


def test_two_decks_are_bought_for_at_once_and_the_tin_counts_once(as_owner: Client) -> None:
    oil = ProductFactory(name="Tidewood Deck Oil")
    for litres, price in ((1, 42), (4, 149)):
        PackFactory(product=oil, litres=D(litres), price=D(price))
    TinFactory(product=oil, litres=D(1))
    for days in (0, 10):
        deck = DeckFactory(area_m2=D("22.5"))
        CoatFactory(job=JobFactory(deck=deck), product=oil, litres=None)
        booked(deck, on=TODAY + timedelta(days=days))

    found = need(as_owner, "finish")

    assert (found.litres, found.from_tins, found.packs, found.cost) == (5, 1, [(4, 1, 149)], 149)
    assert need(as_owner, "finish", weeks="1").litres == D("2.5")


def test_what_an_offer_agreed_goes_before_the_history(as_owner: Client) -> None:
    oil = ProductFactory(name="Tidewood Deck Oil")
    tint = ProductFactory(name="Saltmarsh Tint", finish_class="tinted")
    deck = DeckFactory()
    CoatFactory(job=JobFactory(deck=deck), product=oil)
    prices = PriceList.objects.create(valid_from=date(2026, 1, 1), currency="CAD")
    offer = Offer.objects.create(
        number=1,
        client=deck.site.client,
        site=deck.site,
        price_list=prices,
        currency="CAD",
        tax_mode="exclusive",
        tax_rounding="total",
        drafted_on=TODAY,
        valid_until=TODAY,
    )
    OfferScope.objects.create(
        offer=offer,
        deck=deck,
        work="strip",
        stripper_applications=2,
        coats=3,
        product=tint,
        colour="Honey",
    )
    booked(deck, on=TODAY, offer=offer)

    found = need(as_owner, "finish")

    assert (found.product, found.colour, found.litres) == (tint, "Honey", 6)
    assert need(as_owner, "stripper").litres == 36


def test_what_is_over_called_off_or_far_ahead_needs_nothing_and_held_work_does(
    as_owner: Client,
) -> None:
    oil = ProductFactory(name="Tidewood Deck Oil")
    for days, state in ((-1, "booked"), (1, "cancelled"), (2, "done"), (40, "booked")):
        deck = DeckFactory()
        CoatFactory(job=JobFactory(deck=deck), product=oil)
        booked(deck, on=TODAY + timedelta(days=days), state=state)

    assert "Nothing is booked" in as_owner.get("/jobs/to-buy/").content.decode()
    booked(deck, on=TODAY - timedelta(days=3), state="held")
    assert need(as_owner, "finish").litres == 2


def test_the_page_takes_no_more_queries_for_many_bookings_and_tells_the_crew_no_prices(
    as_user: Callable[[User], Client],
    crew: User,
    django_assert_max_num_queries: Callable[[int], Any],
) -> None:
    oil = ProductFactory(name="Tidewood Deck Oil")
    PackFactory(product=oil, litres=D(4), price=D("149.50"))
    for _ in range(8):
        deck = DeckFactory()
        CoatFactory(job=JobFactory(deck=deck), product=oil, litres=None)
        booked(deck, on=TODAY)

    client = as_user(crew)
    with django_assert_max_num_queries(22):
        text = client.get("/jobs/to-buy/").content.decode()

    assert "4 × 4 L" in text
    assert "149.50" not in text
    assert client.get("/jobs/to-buy/", {"weeks": "x"}).status_code == 200
