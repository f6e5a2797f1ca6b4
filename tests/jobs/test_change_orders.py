"""More or less work after an offer was accepted: a further small offer that names the first."""

from collections.abc import Callable, Iterator
from datetime import date, datetime
from decimal import Decimal
from typing import Any

import pytest
from django.test import Client as Browser
from freezegun import freeze_time

from clients.messaging.models import ToDo
from clients.models import User
from jobs.actions import offers as actions
from jobs.actions.offers import OfferError, OfferInput, OfferLineInput
from jobs.models import Offer, OfferLine
from jobs.offers import links
from jobs.pdf import offer_pdf
from tests.factories import OfferFactory
from tests.jobs.sent_offers import NOW, no, page_of

pytestmark = pytest.mark.django_db
SignIn = Callable[[User], Browser]
Kind = OfferLine.Kind
TODAY = date(2027, 5, 10)


@pytest.fixture(autouse=True)
def _monday() -> Iterator[None]:
    with freeze_time(NOW, ignore=["psycopg", "concurrent"]):
        yield


@pytest.fixture
def accepted(business: Any) -> Offer:
    token, token_hash = links.new_token()
    offer: Offer = OfferFactory(
        number=104,
        is_sent=True,
        state="accepted",
        answered_at=NOW,
        accepted_week=date(2027, 5, 17),
        token_hash=token_hash,
    )
    offer.price_list.taxes.create(name="HST", percent=Decimal(14))
    offer.own_url = f"/o/{token}/"  # type: ignore[attr-defined] # for these tests
    return offer


def drafted(offer: Offer) -> Offer:
    return actions.draft_change_order(offer=offer, today=TODAY, now=NOW, by=None)


def written(offer: Offer, *lines: OfferLineInput, why: str = "Two treads are rotten.") -> Offer:
    draft = drafted(offer)
    seen = draft.events.latest("id").pk
    words = OfferInput(why, date(2027, 6, 1), Decimal(2))
    return actions.change_offer(offer=draft, words=words, lines=lines, seen=seen, by=None, now=NOW)


def a_line(price: str, kind: str = Kind.WORK, quantity: int = 2) -> OfferLineInput:
    return OfferLineInput(kind, "New treads", Decimal(quantity), "", Decimal(price))


def sent(offer: Offer, *lines: OfferLineInput) -> tuple[Offer, str]:
    change = written(offer, *lines)
    token, token_hash = links.new_token()
    Offer.objects.filter(pk=change.pk).update(
        state="open", sent_at=datetime(2027, 5, 10, tzinfo=NOW.tzinfo), token_hash=token_hash
    )
    change.refresh_from_db()
    return change, f"/o/{token}/"


def test_a_change_names_the_offer_that_stays_as_it_was(accepted: Offer) -> None:
    before = Offer.objects.values().get(pk=accepted.pk)
    change = written(accepted, a_line("45.00"))

    # 2 × 45.00 = 90.00; 14 % of it is 12.60; by hand
    assert (change.net, change.tax, change.total) == (
        Decimal(90),
        Decimal("12.60"),
        Decimal("102.60"),
    )
    assert change.original == accepted
    assert change.title == f"Change {change.number} to offer 104"
    assert Offer.objects.values().get(pk=accepted.pk) == before


def test_less_work_takes_away_and_the_sums_stand_together(accepted: Offer) -> None:
    change, url = sent(accepted, a_line("45.00", Kind.LESS))

    assert change.total == Decimal("-102.60")
    page = page_of(Browser(), url)
    # 572.77 − 102.60 = 470.17, by hand
    assert "With this change the work comes to $470.17." in page
    assert "−$102.60" in page or "-$102.60" in page
    assert offer_pdf(change).startswith(b"%PDF")


def test_the_client_accepts_it_by_a_link_of_its_own_without_choosing_a_week(
    accepted: Offer,
) -> None:
    change, url = sent(accepted, a_line("45.00"))
    answer = Browser().post(url, {"answer": "accept", "accept-name": "Marlow Pennington"})
    Browser().post(url, {"answer": "accept", "accept-name": "Marlow Pennington"})

    assert answer.status_code == 302
    change.refresh_from_db()
    assert change.state == Offer.State.ACCEPTED
    assert "2 more hours" in ToDo.objects.get(key=f"offer/{change.pk}/accepted").words
    assert change.pk not in Offer.objects.needing_a_day().values_list("pk", flat=True)
    for address in (url, accepted.own_url):  # type: ignore[attr-defined]
        assert "$675.37" in page_of(Browser(), address)  # 572.77 + 102.60


def test_a_change_that_is_declined_counts_nowhere(accepted: Offer) -> None:
    change, url = sent(accepted, a_line("45.00"))
    Browser().post(url, no())

    change.refresh_from_db()
    assert change.state == Offer.State.DECLINED
    assert "Together" not in page_of(Browser(), accepted.own_url)  # type: ignore[attr-defined]


def test_it_needs_a_reason_and_an_accepted_offer(accepted: Offer) -> None:
    with pytest.raises(OfferError, match="why the work changes"):
        written(accepted, a_line("45.00"), why=" ")
    with pytest.raises(OfferError, match="not possible"):
        drafted(OfferFactory(is_sent=True))
    change, url = sent(accepted, a_line("45.00"))
    Browser().post(url, {"answer": "accept", "accept-name": "Marlow Pennington"})
    with pytest.raises(OfferError, match="Change offer 104"):
        drafted(change)


def test_the_office_drafts_one_at_a_time_on_the_page_of_the_offer(
    as_user: SignIn, office: User, accepted: Offer
) -> None:
    browser = as_user(office)
    assert "Change order" in page_of(browser, f"/offers/{accepted.pk}/")
    for _ in range(2):
        browser.post(f"/offers/{accepted.pk}/change/")

    change = accepted.change_orders.get()
    page = page_of(browser, f"/offers/{change.pk}/")
    assert "Why the work changes" in page
    assert "Begin again" not in page


def test_an_offer_by_itself_can_still_not_be_less_than_nothing(business: Any) -> None:
    offer = OfferFactory()
    offer.events.create(kind="drafted")
    words = OfferInput("", date(2027, 6, 1), Decimal(2))
    with pytest.raises(OfferError, match="discounts are larger"):
        actions.change_offer(
            offer=offer,
            words=words,
            lines=[a_line("45.00", Kind.LESS)],
            seen=offer.events.get().pk,
            by=None,
            now=NOW,
        )
