"""What the page “Log a job” offers when it opens: products, colours, decks, today."""

from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from typing import Any

import pytest
from django.test import Client
from freezegun import freeze_time

from clients.models import Business, Deck, User
from tests.factories import (
    BatchFactory,
    CoatFactory,
    DeckFactory,
    JobFactory,
    ProductFactory,
)
from tests.jobs.log_page import URL, log, row

pytestmark = pytest.mark.django_db
AsUser = Callable[[User], Client]


@pytest.fixture(autouse=True)
def _noon_on_the_deck() -> Iterator[None]:
    with freeze_time("2026-06-11 15:00:00", ignore=["urllib3"]):  # noon in Nova Scotia
        yield


@pytest.fixture
def deck(business: Business) -> Deck:
    return DeckFactory(site__client__name="Marlow Pennington", label="Back deck")


@pytest.fixture
def as_crew(crew: User, as_user: AsUser) -> Client:
    return as_user(crew)


def test_the_page_opens_with_the_products_of_the_last_job_but_not_its_batch(
    as_crew: Client, deck: Deck
) -> None:
    batch = BatchFactory(code="TW-OLD")
    CoatFactory(
        job=JobFactory(deck=deck), product=batch.product, batch=batch, colour="Slate", coats=2
    )

    page = as_crew.get(URL, {"deck": deck.pk}).context["page"]

    only = page.rows.forms[0]
    assert [only[name].value() for name in ("product", "colour", "coats")] == [
        str(batch.product.pk),
        "Slate",
        2,
    ]
    assert (only["batch"].value(), only["litres"].value()) == (None, None)
    assert (page.job["kind"].value(), str(page.job["finished_on"].value())) == (
        "recoat",
        "2026-06-11",
    )


def test_colours_are_suggested_from_the_product_in_the_row(as_crew: Client, deck: Deck) -> None:
    coat = CoatFactory(job__deck=deck, product__colours="Driftwood, Fog")

    text = as_crew.get(URL, {"deck": deck.pk}).content.decode()

    assert f'list="colours-{coat.product.pk}"' in text
    assert (
        f'<datalist id="colours-{coat.product.pk}"><option value="Driftwood"></option><option'
        ' value="Fog">' in text
    )


def test_the_last_batches_and_colours_of_a_product_are_suggested_ones_own_first(
    as_crew: Client, crew: User, deck: Deck
) -> None:
    oil = ProductFactory(colours="Fog, Slate")
    for day, by, code, colour in (
        (1, crew, "TW-1", "Slate"),
        (2, None, "TW-2", "Walnut"),
        (3, None, "TW-3", "Slate"),
        (4, crew, "TW-4", "Bark"),
    ):
        CoatFactory(
            job=JobFactory(recorded_by=by, finished_on=f"2026-06-0{day}"),
            product=oil,
            batch=BatchFactory(product=oil, code=code),
            colour=colour,
        )
    CoatFactory(job=JobFactory(deck=deck), product=oil)

    text = as_crew.get(URL, {"deck": deck.pk}).content.decode()

    options = [
        f'<datalist id="{name}-{oil.pk}">'
        + "".join(f'<option value="{word}"></option>' for word in words)
        for name, words in (
            ("batches", ["TW-4", "TW-1", "TW-3"]),
            ("colours", ["Bark", "Slate", "Walnut", "Fog"]),
        )
    ]
    assert all(option in text for option in options)
    assert f'list="batches-{oil.pk}"' in text


def test_the_decks_this_person_worked_on_last_come_first(
    as_crew: Client, crew: User, owner: User, business: Business
) -> None:
    older = JobFactory(recorded_by=crew)
    newer = JobFactory(recorded_by=crew)
    JobFactory(recorded_by=crew, deck=newer.deck)
    JobFactory(recorded_by=owner)

    assert as_crew.get(URL).context["decks"] == [newer.deck, older.deck]


@pytest.mark.usefixtures("with_words")
def test_a_deck_is_found_by_a_few_words_and_archived_ones_are_not(
    as_crew: Client, deck: Deck
) -> None:
    DeckFactory(site__client__name="Marlow Gone", archived_at=datetime(2026, 1, 1, tzinfo=UTC))

    response = as_crew.get(URL, {"q": "marlow"})

    assert response.context["decks"] == [deck]
    assert f"/jobs/log/?deck={deck.pk}" in response.content.decode()


def test_today_is_the_day_at_the_business_not_in_greenwich(as_crew: Client, deck: Deck) -> None:
    with freeze_time("2026-06-12 01:30:00"):  # half past ten in the evening of the 11th in Halifax
        assert (
            log(as_crew, deck, row(ProductFactory()), finished_on="2026-06-12").status_code == 200
        )
        assert (
            log(as_crew, deck, row(ProductFactory()), finished_on="2026-06-11").status_code == 302
        )


def test_the_page_asks_few_questions_of_the_database_however_many_products(
    as_crew: Client, deck: Deck, django_assert_max_num_queries: Callable[[int], Any]
) -> None:
    job = JobFactory(deck=deck)
    for _ in range(8):
        CoatFactory(job=job, coats=1)
    ProductFactory.create_batch(30)

    with django_assert_max_num_queries(12):
        assert as_crew.get(URL, {"deck": deck.pk}).status_code == 200
