"""The Figures page in a real browser."""

from collections.abc import Callable

from playwright.sync_api import Page

from clients.models import Business
from reminders.forecasting import refitting
from tests.browser.conftest import DESKTOP, violations
from tests.reminders.book import simulated_book
from tests.reminders.conftest import NOW, TODAY


def test_the_figures_page_passes_axe_empty_and_full(
    open_as: Callable[..., Page], business: Business
) -> None:
    assert violations(open_as("owner", "/figures/")) == []
    simulated_book(decks=16, months=24)
    refitting.refit(today=TODAY, now=NOW)

    full = open_as("owner", "/figures/")

    full.locator("summary", has_text="Details").click()
    assert full.get_by_role(
        "img", name="Share of coats found worn, by the chance that was forecast"
    ).is_visible()
    for summary in full.locator("summary", has_text="As a table").all():
        summary.click()
    assert violations(full) == []
    assert full.evaluate("document.documentElement.scrollWidth") <= 390
    assert violations(open_as("office", "/figures/", size=DESKTOP, dark=True)) == []
