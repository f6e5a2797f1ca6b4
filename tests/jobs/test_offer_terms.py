"""Deposit and terms on an offer: the owner's words, kept as they were when it was sent."""

from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from decimal import Decimal
from io import BytesIO
from typing import Any

import pytest
from django.db import IntegrityError
from django.test import Client as Browser
from freezegun import freeze_time
from pypdf import PdfReader

from clients.models import Business, User
from jobs.actions.offer_sending import send_offer
from jobs.forms.offers import OfferForm
from jobs.models import Offer, OfferTerms
from jobs.offers import build_offer_page, terms_to_keep
from jobs.pdf import offer_pdf
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


STATEMENT = "Right to cancel\nTen days, as the regulation has it.\nTo: 4 Tern Wharf"


def test_a_prescribed_statement_stands_in_the_place_of_ours_in_the_own_province_alone(
    business: Any, as_user: SignIn, owner: User
) -> None:
    """AR 191/99 s. 3(1)(a) and NLR 56/12 s. 2(1)(a): the statement holds the words of the schedule;
    Quebec's is a document of its own (P-40.1, r. 3, s. 50.2). The words here are no province's."""
    as_user(owner).post("/settings/prices/terms/?language=en", {"right_to_cancel": STATEMENT})
    offer, url = sent_offer(terms=OfferTerms.objects.get().parts)
    at_home, reader = page_of(Browser(), url), PdfReader(BytesIO(offer_pdf(offer)))
    offer.site.region = "Alberta"
    offer.site.save()
    abroad = page_of(Browser(), url)

    assert "Ten days, as the regulation has it." in at_home
    assert "until 10 days after you have your copy" not in at_home
    last = reader.pages[-1].extract_text()
    assert last.index("Right to cancel") < last.index("4 Tern Wharf")
    assert "Signature" not in last
    assert "Terms" not in last
    assert f"Your right to cancel page {len(reader.pages)}" in " ".join(
        reader.pages[0].extract_text().split()
    )
    assert "Ten days, as the regulation has it." not in abroad
    assert "until 10 days after you have your copy" in abroad


def test_a_change_order_keeps_the_statement_and_no_other_terms(terms: OfferTerms) -> None:
    terms.right_to_cancel = STATEMENT
    terms.save()
    change = OfferFactory(original=OfferFactory())

    assert terms_to_keep(change) == {"right_to_cancel": STATEMENT}
    assert terms_to_keep(OfferFactory()) == terms.parts


@pytest.mark.parametrize(
    ("country", "region", "asked", "warned"),
    [
        ("CA", "Alberta", True, True),
        ("CA", "Ontario", True, False),
        ("DE", "Hamburg", False, False),
    ],
)
def test_the_statement_is_asked_for_where_the_law_gives_the_right(
    business: Business,
    as_user: SignIn,
    owner: User,
    country: str,
    region: str,
    asked: bool,
    warned: bool,
) -> None:
    Business.objects.update(country=country, region=region)
    page = page_of(as_user(owner), "/settings/prices/terms/")

    assert ("right_to_cancel" in page) == asked
    assert ("Copy them from the regulation" in page) == warned
