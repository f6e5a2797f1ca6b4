"""The Pacing page and the page of one household in a real browser, without and with a plan."""

from collections.abc import Callable
from datetime import date, timedelta

from django.utils import timezone
from playwright.sync_api import Page, expect

from clients.models import Business
from jobs.models import Crew
from reminders.actions import refresh_forecasts
from tests.browser.conftest import DESKTOP, violations
from tests.business_day import today_there
from tests.factories import ClientFactory, CoatFactory, DeckFactory, PropertyFactory


def test_a_plan_is_made_seen_and_changed_by_hand(
    open_as: Callable[..., Page], business: Business
) -> None:
    Business.objects.update(season_months=list(range(1, 13)))
    assert "Add a crew" in open_as("owner", "/pacing/").locator("main").inner_text()
    Crew.objects.create(name="Heron crew", hours_a_day=6)
    today = today_there()
    for town in ("Chester", "Lunenburg", "Mahone Bay"):
        deck = DeckFactory(site=PropertyFactory(client=ClientFactory(), town=town))
        CoatFactory(
            job__deck=deck, job__finished_on=date(today.year - 2, 6, 10) + timedelta(days=3)
        )
    refresh_forecasts(today=today, now=timezone.now())

    page = open_as("owner", "/pacing/")
    page.get_by_role("button", name="Plan again").click()

    expect(page.get_by_role("img", name="Expected hours of work in each week")).to_be_visible()
    assert violations(page) == []
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    page.get_by_role("link", name="Move").first.click()
    assert violations(page) == []
    page.get_by_label("Leave out of every plan").check()
    page.get_by_role("button", name="Save", exact=True).click()
    assert "is left out of every plan" in page.locator("main").inner_text()
    assert violations(open_as("office", "/pacing/?week=none", size=DESKTOP, dark=True)) == []
