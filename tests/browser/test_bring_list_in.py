"""The first list of a new book, brought in by its owner in a real browser."""

from collections.abc import Callable
from pathlib import Path

from playwright.sync_api import Page, expect

from jobs.models import ListImport
from tests.browser.conftest import DESKTOP, PHONE, violations
from tests.jobs import old_lists
from tests.jobs.towns import add_towns

Open = Callable[..., Page]
MOST_DECISIONS = 15


def test_a_sheet_of_sixty_clients_is_a_due_list_after_few_decisions(
    open_as: Open, tmp_path: Path
) -> None:
    add_towns()
    rows = old_lists.write_client_sheet(tmp_path / "clients.xlsx")
    page = open_as("owner", "/", size=DESKTOP)
    page.get_by_role("link", name="Your clients and decks").click()
    page.get_by_label("Your list").set_input_files(tmp_path / "clients.xlsx")
    page.get_by_role("button", name="Read it").click()

    expect(page.get_by_role("heading", name="clients.xlsx")).to_be_visible()
    questions = page.get_by_role("group").filter(has=page.locator("legend"))
    # open, choose the file; each question and the columns; let it in
    decisions = 2 + questions.count() + 1
    assert decisions <= MOST_DECISIONS
    page.get_by_label("WRC").select_option("Eastern white cedar")
    page.get_by_role("button", name="Bring it in").click()

    expect(page.get_by_text("Brought in on")).to_be_visible()
    assert ListImport.objects.get().rows_total == rows
    page.get_by_role("link", name="Open the due list").click()
    expect(page.get_by_role("link", name="Halvard").first).to_be_visible()


def check(page: Page) -> None:
    """Nothing that axe finds, and nothing to scroll sideways to."""
    assert violations(page) == []
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")


def test_the_pages_of_a_list_read_well_for_everybody(open_as: Open, tmp_path: Path) -> None:
    add_towns()
    old_lists.write_hand_list(tmp_path / "by hand.xlsx")
    page = open_as("owner", "/settings/lists/", size=PHONE, dark=True)
    check(page)
    page.get_by_label("Your list").set_input_files(tmp_path / "by hand.xlsx")
    page.get_by_role("button", name="Read it").click()
    expect(page.get_by_text("Also in this file")).to_be_visible()
    check(page)
    page.get_by_role("button", name="Bring it in").click()
    expect(page.get_by_text("Brought in on")).to_be_visible()
    check(page)
