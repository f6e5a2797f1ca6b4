"""Looking a deck up in a real browser."""

from collections.abc import Callable

from playwright.sync_api import Page

from tests.browser.conftest import DESKTOP, violations
from tests.factories import CoatFactory


def test_somebody_without_scripts_finds_a_deck_by_a_mistyped_name(
    open_as: Callable[..., Page],
) -> None:
    CoatFactory(job__deck__site__client__name="Ottilie Saltonby", product__name="Saltmarsh Oil")

    page = open_as("crew", "/decks/", scripts=False)
    page.get_by_label("Look up").fill("otilie saltenby")
    page.get_by_role("button", name="Look up").click()

    assert page.get_by_role("link", name="Ottilie Saltonby").is_visible()
    assert "Saltmarsh Oil" in page.locator("main").inner_text()


def test_the_search_page_passes_axe_in_both_schemes_and_sizes(open_as: Callable[..., Page]) -> None:
    CoatFactory()

    assert violations(open_as("owner", "/decks/?q=tidewood")) == []
    assert violations(open_as("owner", "/decks/", size=DESKTOP, dark=True)) == []
