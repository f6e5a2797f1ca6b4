"""The first list of a new book, brought in by its owner in a real browser."""

from collections.abc import Callable
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from jobs.models import ListImport
from reminders.models import Forecast
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


@pytest.mark.parametrize(
    ("write", "name"),
    [
        (old_lists.write_invoice_lines, "invoices.csv"),
        (old_lists.write_hand_list, "by hand.xlsx"),
    ],
)
def test_so_is_a_list_of_invoices_and_one_kept_by_hand(
    open_as: Open, tmp_path: Path, write: Callable[[Path], int], name: str
) -> None:
    """Every guess is taken as it stands."""
    add_towns()
    write(tmp_path / name)
    page = open_as("owner", "/settings/lists/", size=DESKTOP)
    page.get_by_label("Your list").set_input_files(tmp_path / name)
    page.get_by_role("button", name="Read it").click()

    expect(page.get_by_role("heading", name=name)).to_be_visible()
    questions = page.get_by_role("group").filter(has=page.locator("legend"))
    assert 2 + questions.count() + 1 <= MOST_DECISIONS
    page.get_by_role("button", name="Bring it in").click()
    expect(page.get_by_text("Brought in on")).to_be_visible()
    page.get_by_role("link", name="Open the due list").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Due in")
    assert Forecast.objects.exists()


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
