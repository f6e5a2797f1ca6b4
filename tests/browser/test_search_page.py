"""Looking a deck up in a real browser."""

from collections.abc import Callable

from playwright.sync_api import Page, expect

from tests.browser.conftest import DESKTOP, violations
from tests.factories import BatchFactory, CoatFactory, EmailFactory


def test_somebody_without_scripts_finds_a_deck_by_a_mistyped_name(
    open_as: Callable[..., Page],
) -> None:
    CoatFactory(job__deck__site__client__name="Ottilie Saltonby", product__name="Saltmarsh Oil")

    page = open_as("crew", "/decks/", scripts=False)
    page.get_by_label("Look up").fill("otilie saltenby")
    page.get_by_role("button", name="Look up").click()

    expect(page.get_by_role("link", name="Ottilie Saltonby")).to_be_visible()
    assert "Saltmarsh Oil" in page.locator("main").inner_text()


def test_the_search_page_passes_axe_in_both_schemes_and_sizes(open_as: Callable[..., Page]) -> None:
    CoatFactory()

    assert violations(open_as("owner", "/decks/?q=tidewood")) == []
    assert violations(open_as("owner", "/decks/", size=DESKTOP, dark=True)) == []


def test_filters_the_trace_and_telling_its_clients_pass_axe(open_as: Callable[..., Page]) -> None:
    batch = BatchFactory()
    coat = CoatFactory(product=batch.product, batch=batch)
    EmailFactory(client=coat.job.deck.site.client)

    for address in (
        "/decks/?q=tidewood+2025&town=Lunenburg",
        f"/jobs/trace/?batch={batch.pk}",
        f"/jobs/trace/recall/?batch={batch.pk}",
    ):
        assert violations(open_as("owner", address)) == []
        assert violations(open_as("owner", address, size=DESKTOP, dark=True)) == []


def test_somebody_without_scripts_tells_the_clients_of_a_batch(
    open_as: Callable[..., Page],
) -> None:
    batch = BatchFactory(code="SM-24/117")
    coat = CoatFactory(product=batch.product, batch=batch)
    EmailFactory(client=coat.job.deck.site.client, value="ottilie@example.org")

    page = open_as("office", f"/jobs/batches/{batch.pk}/", scripts=False)
    page.get_by_role("link", name="Tell these clients").click()
    page.get_by_label("What they have to know").fill("We come and look, at no charge.")
    page.get_by_role("button", name="Tell them").click()

    expect(page.get_by_text("1 notice is in the outbox.")).to_be_visible()
