"""From the due list to a sent offer in a real browser, with and without scripts."""

from collections.abc import Callable

import pytest
from django.utils import timezone
from playwright.sync_api import Page, expect

from clients.messaging.models import Message
from jobs.models import Offer
from reminders.actions import refresh_forecasts
from reminders.models import Forecast
from tests.browser.conftest import PHONE
from tests.business_day import today_there
from tests.jobs.offer_book import deck, price_list, reachable

Open = Callable[..., Page]


@pytest.mark.parametrize("scripts", [True, False], ids=["scripts", "no scripts"])
def test_an_offer_is_drafted_given_a_line_and_sent(
    open_as: Open, business: object, scripts: bool
) -> None:
    price_list()
    home = reachable(deck())
    refresh_forecasts(today=today_there(), now=timezone.now())
    due = Forecast.objects.get(deck=home).due_on

    page = open_as("office", f"/due/{due:%Y-%m}/", size=PHONE, scripts=scripts)
    page.get_by_role("button", name="Draft offers for this whole list").click()
    expect(page.get_by_text("1 offer drafted. Nothing is sent yet.")).to_be_visible()
    before = Offer.objects.get().net
    page.get_by_text("Change words, validity and lines").click()
    page.get_by_role("button", name="Add a line").click()
    line = page.get_by_role("group", name="Line").last
    line.get_by_label("What").fill("Move the planters")
    line.get_by_label("Price").fill("25")
    page.get_by_role("button", name="Save and recalculate").click()
    expect(page.get_by_text("Saved and recalculated.")).to_be_visible()
    page.get_by_role("button", name="Send by e-mail").click()
    assert not Message.objects.exists()
    page.get_by_role("button", name="Send 1 offer").click()

    offer = Offer.objects.get()
    expect(page.get_by_text("Sent to 1 (1 mailed).")).to_be_visible()
    assert (offer.state, offer.net - before) == ("open", 25)
    assert Message.objects.get().kind == "offer"
