"""Where the hours of a plan come from:
proposed work, drafts and waiting visits, at the minutes of the price list."""

from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.test import Client as Browser
from freezegun import freeze_time

from clients.models import Business, Deck
from jobs.models import Crew, OfferScope, PriceList, Rate
from reminders.actions import refresh_forecasts
from reminders.models import Reminder
from reminders.offer_drafting import draft_offers
from reminders.pacing.inputs import Horizon, PacingInputs, gather_pacing_inputs
from tests.factories import MessageFactory, VisitFactory
from tests.reminders.conftest import NOW, TODAY

pytestmark = pytest.mark.slow

SPRING = Horizon(date(2027, 3, 1), 12)
MINUTES = {
    "set_up": ("job", 30),
    "clean": ("m2", 3),
    "sand": ("m2", 3),
    "coat": ("m2", 6),
    "strip": ("m2", 12),
    "brighten": ("m2", 1),
}
# For 20 m², by hand: half an hour, and 3 + 3 + 6 min a m² for a clean and one coat; 12 + 1 + 3 +
# 2·6 for a strip.
RECOAT = 0.5 + 20 * 12 / 60
STRIP = 0.5 + 20 * 28 / 60


@pytest.fixture(autouse=True)
def _crew(business: Business) -> None:
    Crew.objects.create(name="Tern crew", hours_a_day=8)


@pytest.fixture
def prices(business: Business) -> PriceList:
    made = PriceList.objects.create(valid_from=TODAY, currency="CAD")
    for task, (per, each) in MINUTES.items():
        Rate.objects.create(price_list=made, task=task, per=per, amount=1, minutes=each)
    return made


@pytest.fixture
def deck(coated: Callable[..., Deck]) -> Deck:
    return coated(on=date(2025, 6, 10), area_m2=Decimal(20))


def found(horizon: Horizon = SPRING, today: date = TODAY) -> PacingInputs:
    return gather_pacing_inputs(horizon, today=today, business=Business.objects.get())


@pytest.mark.usefixtures("prices")
def test_a_deck_takes_its_recoat_and_the_chance_of_a_strip(deck: Deck) -> None:
    made = found()

    assert made.is_timed
    assert RECOAT < made.work.hours[0] < STRIP
    share = (made.work.hours[0] - RECOAT) / (STRIP - RECOAT)
    assert made.work.hours_sd[0] == pytest.approx(
        (share * (1 - share)) ** 0.5 * (STRIP - RECOAT)
    )  # yes or no


@pytest.mark.usefixtures("prices")
def test_a_worn_deck_takes_the_hours_of_two_coats(deck: Deck) -> None:
    VisitFactory(deck=deck, visited_on=TODAY, overall=3)
    refresh_forecasts(deck_ids=[deck.pk], today=TODAY, now=NOW)

    two_coats = RECOAT + 20 * 6 / 60
    assert two_coats < found().work.hours[0] < STRIP


@pytest.mark.usefixtures("prices")
def test_a_deck_that_needs_a_strip_takes_its_hours_for_sure(deck: Deck) -> None:
    VisitFactory(
        deck=deck, visited_on=TODAY, overall=2, flaking=3
    )  # a new coat would come off with the flakes

    made = found()

    assert made.work.hours[0] == pytest.approx(STRIP)
    assert made.work.hours_sd[0] == 0


@pytest.mark.usefixtures("prices")
def test_what_was_changed_in_a_draft_counts(deck: Deck) -> None:
    draft_offers(deck_ids=[deck.pk], today=TODAY, now=NOW, by=None)
    OfferScope.objects.update(hours=Decimal(30))

    assert found().work.hours[0] > 30 * 0.5


@pytest.mark.usefixtures("prices")
def test_the_setting_up_counts_once_for_all_decks_of_a_property(
    deck: Deck, coated: Callable[..., Deck]
) -> None:
    alone = found().work.hours[0]
    coated(
        on=date(2025, 6, 10),
        area_m2=Decimal(20),
        client=deck.site.client,
        site=deck.site,
    )

    assert found().work.hours.tolist() == [pytest.approx(2 * alone - 0.5)]


@pytest.mark.usefixtures("prices")
def test_a_reminder_that_waits_takes_the_hours_of_its_work(deck: Deck) -> None:
    now = datetime(2027, 4, 5, 15, tzinfo=UTC)
    message = MessageFactory(
        client=deck.site.client, state="accepted", accepted_at=now - timedelta(days=14)
    )
    Reminder.objects.create(deck=deck, job=deck.forecast.job, message=message, channel="email")

    made = found(Horizon(date(2027, 4, 5), 12), today=now.date())

    # Of 0.35 three quarters are left after 2 of 8 weeks (Bayes).
    assert made.hours.outstanding[0, 0] == pytest.approx(RECOAT * 0.35 * 0.75 / (1 - 0.35 * 0.25))


@freeze_time(NOW)
def test_the_page_says_where_the_hours_come_from(
    as_owner: Browser, deck: Deck, request: Any
) -> None:
    assert (
        "Hours are a rule of thumb (our judgement)"
        in as_owner.get("/pacing/?from=2027-03-01").content.decode()
    )
    request.getfixturevalue("prices")
    page = as_owner.get("/pacing/?from=2027-03-01").content.decode()
    assert "Hours are what an offer would hold" in page


@pytest.mark.usefixtures("prices")
def test_hours_of_many_decks_take_no_more_queries(
    deck: Deck, coated: Callable[..., Deck], django_assert_num_queries: Any
) -> None:
    with django_assert_num_queries(30):
        found()
    for number in range(3):
        coated(on=date(2025, 7, 1 + number))
    with django_assert_num_queries(30):
        found()
