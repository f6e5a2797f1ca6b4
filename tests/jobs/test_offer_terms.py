"""Deposit and terms on an offer: the owner's words, kept as they were when it was sent."""

from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from decimal import Decimal
from typing import Any

import pytest
from django.db import IntegrityError
from django.test import Client as Browser
from freezegun import freeze_time

from clients.models import User
from jobs.actions.offer_sending import send_offer
from jobs.forms.offers import OfferForm
from jobs.models import Offer, OfferTerms
from jobs.offers import build_offer_page
from tests.factories import (
    ConsentFactory,
    EmailFactory,
    OfferFactory,
    OfferLineFactory,
    OfferScopeFactory,
)
from tests.jobs.sent_offers import page_of, sent_offer

pytestmark = pytest.mark.django_db
SignIn = Callable[[User], Browser]
NOW = datetime(2026, 11, 21, 15, tzinfo=UTC)
TODAY = NOW.date()


@pytest.fixture(autouse=True)
def _clock() -> Iterator[None]:
    with freeze_time(NOW, ignore=["psycopg", "concurrent"]):
        yield


@pytest.fixture
def terms(business: Any) -> OfferTerms:
    return OfferTerms.objects.create(
        language="en", payment="The rest within 14 days.", warranty="Two years on peeling."
    )


def a_draft(**values: Any) -> Offer:
    offer: Offer = OfferFactory(**values)
    scope = OfferScopeFactory(offer=offer)
    OfferLineFactory(offer=offer, scope=scope)
    EmailFactory(client=offer.client)
    ConsentFactory(client=offer.client)
    return offer


def headings(offer: Offer) -> list[str]:
    return [f"{term.heading}: {term.words}" for term in build_offer_page(offer, today=TODAY).terms]


def test_an_offer_keeps_the_terms_that_it_was_sent_with(terms: OfferTerms) -> None:
    offer = a_draft()
    assert headings(offer)[0] == "Payment, and what is not included: The rest within 14 days."
    send_offer(offer=offer, channel="email", by=None, now=NOW)
    terms.payment = "Everything at once."
    terms.save()

    offer.refresh_from_db()
    Offer.objects.filter(pk=offer.pk).update(state="accepted", answered_at=NOW, accepted_week=TODAY)
    offer.refresh_from_db()
    assert headings(offer) == [
        "Payment, and what is not included: The rest within 14 days.",
        "Warranty and its limits: Two years on peeling.",
    ]


def test_terms_stand_in_the_language_of_the_client_or_not_at_all(terms: OfferTerms) -> None:
    assert headings(a_draft(language="fr")) == []
    OfferTerms.objects.create(language="fr", warranty="Deux ans.")

    assert len(headings(a_draft(language="fr-CA"))) == 1


@pytest.mark.parametrize(
    ("values", "asked"),
    [
        # 30 % of 572.77 is 171.831, rounded half up; by hand
        ({"deposit_percent": Decimal(30)}, "171.83"),
        ({"deposit_amount": Decimal(200)}, "200"),
        ({"deposit_amount": Decimal(900)}, "572.77"),  # never more than the whole
        ({}, "0"),
    ],
)
def test_the_deposit_is_a_share_or_an_amount(
    business: Any, values: dict[str, Decimal], asked: str
) -> None:
    page = build_offer_page(OfferFactory(**values), today=TODAY)

    assert page.deposit == Decimal(asked)


def test_it_stands_on_the_clients_page(terms: OfferTerms) -> None:
    _, url = sent_offer(deposit_percent=Decimal(30), terms=terms.parts)
    page = page_of(Browser(), url)

    assert "$171.83" in page
    assert "Two years on peeling." in page


def test_a_deposit_in_two_ways_is_refused_on_the_form_and_by_the_database(business: Any) -> None:
    typed = {"valid_until": "2026-12-20", "hours": "6", "deposit_percent": "30"}
    form = OfferForm(typed | {"deposit_amount": "100"}, today=TODAY)
    assert "not both" in str(form.errors)
    with pytest.raises(IntegrityError):
        OfferFactory(deposit_percent=Decimal(30), deposit_amount=Decimal(100))


def test_the_owner_writes_them_by_language(as_user: SignIn, owner: User) -> None:
    browser = as_user(owner)
    browser.post("/settings/prices/terms/?language=fr", {"insurance": "Police 4-17."})

    assert OfferTerms.objects.get().parts == {"insurance": "Police 4-17."}
    assert "Police 4-17." in page_of(browser, "/settings/prices/terms/?language=fr")
    assert "Police 4-17." not in page_of(browser, "/settings/prices/terms/?language=en")
