"""The client's page of an offer in a real browser:
accessible in every state, answered without scripts."""

from collections.abc import Callable
from datetime import timedelta

import pytest
from django.utils import timezone
from playwright.sync_api import Page, expect

from clients.models import Business
from jobs.models import Booking, Offer
from jobs.offers import links
from reminders.actions import refresh_forecasts
from tests.browser.conftest import DESKTOP, PHONE, violations
from tests.business_day import today_there
from tests.factories import (
    CoatFactory,
    CrewFactory,
    OfferFactory,
    OfferLineFactory,
    OfferScopeFactory,
    OfferTaxFactory,
    PhotoFactory,
)

Open = Callable[..., Page]


@pytest.fixture
def offer(business: Business) -> tuple[Offer, str]:
    """A sent offer with photograph and forecast, and the address of its page."""
    CrewFactory(name="Tern crew")
    token, token_hash = links.new_token()
    today = today_there()
    offer = OfferFactory(
        is_sent=True,
        token_hash=token_hash,
        drafted_on=today,
        valid_until=today + timedelta(days=30),
    )
    scope = OfferScopeFactory(offer=offer)
    CoatFactory(job__deck=scope.deck, job__finished_on=today - timedelta(days=600))
    PhotoFactory(deck=scope.deck)
    OfferLineFactory(offer=offer, scope=scope)
    OfferTaxFactory(offer=offer)
    refresh_forecasts(today=today, now=timezone.now())
    return offer, f"/o/{token}/"


def wrong_with(page: Page) -> list[str]:
    """What axe and a narrow window find; WCAG 2.2, 1.4.10 Reflow: 320 CSS pixels."""
    size = page.viewport_size
    assert size
    found = violations(page)
    page.set_viewport_size({"width": 320, "height": 800})
    if (width := page.evaluate("document.documentElement.scrollWidth")) > 320:
        found.append(f"{width} px wide")
    page.set_viewport_size(size)
    return found


@pytest.mark.parametrize(
    ("size", "dark"), [(PHONE, False), (DESKTOP, True)], ids=["phone, light", "desktop, dark"]
)
def test_the_page_is_accessible_open_with_mistakes_and_answered(
    open_as: Open, offer: tuple[Offer, str], size: dict[str, int], dark: bool
) -> None:
    page = open_as("", offer[1], size=size, dark=dark, may_complain=True)
    found = {"open": wrong_with(page)}
    page.get_by_text("Decline the offer").first.click()
    page.get_by_role("button", name="Decline the offer").click()
    assert "Choose a reason" in page.locator("main").inner_text()
    found["with mistakes"] = wrong_with(page)
    page.get_by_label("Your question").fill("Do you move the planters?")
    page.get_by_role("button", name="Send the question").click()
    found["asked"] = wrong_with(page)
    for state in ("withdrawn", "replaced"):
        Offer.objects.update(state=state)
        page.goto(offer[1])
        found[state] = wrong_with(page)
    page.goto("/o/no-such-token/")
    found["unknown"] = wrong_with(page)

    assert {state: wrong for state, wrong in found.items() if wrong} == {}


def test_a_client_accepts_with_a_thumb_and_without_scripts(
    open_as: Open, offer: tuple[Offer, str]
) -> None:
    page = open_as("", offer[1], scripts=False)

    page.locator('[name="accept-week"]').first.check()
    page.get_by_role("region", name="Yes, please come").get_by_label("Your name").fill(
        "Marlow Pennington"
    )
    page.get_by_role("button", name="Accept, for the week chosen").click()

    expect(page.get_by_role("heading", name="You have accepted this offer")).to_be_visible()
    assert Booking.objects.get().offer == offer[0]
    page.reload()
    expect(page.get_by_role("button", name="Accept, for the week chosen")).to_have_count(0)


@pytest.mark.parametrize(
    ("size", "dark"), [(PHONE, False), (DESKTOP, True)], ids=["phone, light", "desktop, dark"]
)
def test_a_client_who_reads_french_accepts_on_a_page_that_is_accessible_too(
    open_as: Open, offer: tuple[Offer, str], size: dict[str, int], dark: bool
) -> None:
    Offer.objects.update(language="fr")
    page = open_as("", offer[1], size=size, dark=dark, may_complain=True)
    assert page.locator("html").get_attribute("lang") == "fr"
    page.get_by_role("button", name="Accepter pour la semaine choisie").click()
    found = {"with mistakes": wrong_with(page)}

    page.locator('[name="accept-week"]').first.check()
    page.get_by_role("region", name="Oui, venez").get_by_label("Votre nom").fill(
        "Marlow Pennington"
    )
    page.get_by_role("button", name="Accepter pour la semaine choisie").click()

    expect(page.get_by_role("heading", name="Vous avez accepté cette soumission")).to_be_visible()
    found["accepted"] = wrong_with(page)
    assert {state: wrong for state, wrong in found.items() if wrong} == {}
