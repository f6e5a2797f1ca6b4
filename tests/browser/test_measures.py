"""Whole errands, counted in a real browser: every press and every field filled is one action.
What was measured stands in docs/measures.md."""

from collections.abc import Callable, Iterator
from datetime import timedelta
from pathlib import Path

import pytest
from django.utils import timezone
from playwright.sync_api import Browser, Dialog, Page, expect
from pytest_django.live_server_helper import LiveServer

from clients.messaging.models import Message
from clients.models import Business, User
from jobs.models import ListImport, Offer
from reminders.actions import refresh_forecasts
from tests.business_day import today_there
from tests.factories import CoatFactory, ConsentFactory, CrewFactory, EmailFactory
from tests.jobs import old_lists
from tests.jobs.offer_book import price_list
from tests.jobs.towns import add_towns

Open = Callable[..., Page]
LAPTOP = {"width": 1280, "height": 800}
MOST_ACTIONS_TO_A_DUE_LIST = 40
MOST_PRESSES_FOR_FIVE_OFFERS = 6
MOST_BYTES = 150_000
FIVE = 5


class Counted:
    """A person at a page, whose actions are counted."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self.actions = 0

    def fill(self, **values: str) -> None:
        for name, value in values.items():
            self.page.locator(f"[name={name}]").fill(value)
            self.actions += 1

    def press(self, role: str, name: str) -> None:
        self.page.get_by_role(role, name=name, exact=True).first.click()
        self.actions += 1

    def give_file(self, path: Path) -> None:
        self.page.get_by_label("Your list").set_input_files(path)
        self.actions += 1


@pytest.fixture
def stranger(
    chromium: Browser, live_server: LiveServer, transactional_db: None, with_words: None
) -> Iterator[Page]:
    """A browser in Winnipeg that opens an empty book."""
    context = chromium.new_context(
        base_url=live_server.url, viewport=LAPTOP, timezone_id="America/Winnipeg"
    )
    page = context.new_page()
    page.set_default_timeout(10_000)
    page.set_default_navigation_timeout(60_000)
    page.goto("/")
    yield page
    context.close()


def test_from_an_empty_book_to_the_first_due_list_takes_at_most_40_actions(
    stranger: Page, tmp_path: Path
) -> None:
    add_towns()
    rows = old_lists.write_client_sheet(tmp_path / "clients.xlsx")
    owner = Counted(stranger)

    owner.fill(business="Driftline Deck Care", name="Maren Tully", username="maren")
    owner.fill(password="low tide at seven", password_again="low tide at seven")
    owner.press("button", "Set up")
    expect(stranger.get_by_role("heading", level=1)).to_have_text("The business")
    owner.fill(street="4 Tern Wharf", town="Lunenburg", region="Nova Scotia", postcode="B0J 2C0")
    owner.fill(phone="902-555-0100", email="office@example.com")
    owner.press("button", "Save")
    stranger.get_by_role("link", name="Today").first.click()
    owner.actions += 1
    stranger.get_by_role("link", name="Your clients and decks").click()
    owner.actions += 1
    owner.give_file(tmp_path / "clients.xlsx")
    owner.press("button", "Read it")
    expect(stranger.get_by_role("heading", name="clients.xlsx")).to_be_visible()
    questions = stranger.get_by_role("group").filter(has=stranger.locator("legend")).count()
    owner.actions += questions  # each is looked at, though its answer is there
    owner.press("button", "Bring it in")
    expect(stranger.get_by_text("Brought in on")).to_be_visible()
    owner.press("link", "Open the due list")
    expect(stranger.get_by_role("link", name="Halvard").first).to_be_visible()

    business = Business.objects.get()
    assert (business.time_zone, business.country) == ("America/Winnipeg", "CA")
    assert ListImport.objects.get().rows_total == rows
    assert owner.actions <= MOST_ACTIONS_TO_A_DUE_LIST, owner.actions


@pytest.fixture
def five_due(people: dict[str, User]) -> list[int]:
    """Five overdue decks of clients who may be written to, and prices."""
    today = today_there()
    decks = []
    for number in range(FIVE):
        coat = CoatFactory(
            job__finished_on=today - timedelta(days=1000 + 30 * number),
            job__deck__site__client__name=f"Ottilie Saltonby {number}",
        )
        client = coat.job.deck.site.client
        EmailFactory(client=client)
        ConsentFactory(client=client)
        decks.append(coat.job.deck_id)
    price_list()
    CrewFactory(name="Tern crew")
    refresh_forecasts(today=today, now=timezone.now())
    return decks


def test_five_offers_take_at_most_six_presses(open_as: Open, five_due: list[int]) -> None:
    page = open_as("office", "/", size=LAPTOP)
    office = Counted(page)

    page.get_by_role("link", name=f"Choose all {FIVE}").click()
    office.actions += 1
    office.press("button", "Offer")
    expect(page.get_by_text(f"{FIVE} offers drafted")).to_be_visible()
    office.press("button", "Send the chosen…")
    assert not Message.objects.exists()
    office.press("button", "Send the ticked offers")
    expect(page.get_by_role("button", name="Take back")).to_be_visible()

    assert Offer.objects.filter(state="open").count() == FIVE
    assert office.actions <= MOST_PRESSES_FOR_FIVE_OFFERS, office.actions


@pytest.mark.parametrize("path", ["/", "/due/", "/clients/", "/offers/", "/diary/", "/outbox/"])
def test_no_page_takes_more_than_150_kilobytes(
    open_as: Open, five_due: list[int], path: str
) -> None:
    """Of what the page itself is made of; style and scripts are loaded once for all pages."""
    page = open_as("owner", path, size=LAPTOP)

    assert len(page.request.get(path).body()) <= MOST_BYTES


def test_what_was_typed_is_not_left_by_a_wrong_press(open_as: Open) -> None:
    page = open_as("owner", "/settings/business/", size=LAPTOP)
    asked: list[str] = []

    def stay(dialog: Dialog) -> None:
        asked.append(dialog.type)
        dialog.dismiss()

    page.on("dialog", stay)
    page.locator("[name=street]").fill("5 Gannet Row")

    page.get_by_role("link", name="Clients").first.click()
    expect(page.locator("[name=street]")).to_have_value("5 Gannet Row")
    assert asked == ["beforeunload"]
    page.get_by_role("link", name="Cancel").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Settings")

    assert asked == ["beforeunload"]


def test_what_cannot_be_right_is_said_on_leaving_the_field(open_as: Open) -> None:
    page = open_as("owner", "/settings/prices/new/", size=LAPTOP)
    page.get_by_text("Advanced", exact=True).first.click()
    field = page.locator(".field", has=page.locator("[name=valid_days]"))
    page.locator("[name=valid_days]").fill("0")
    page.locator("[name=valid_days]").press("Tab")

    expect(field.get_by_role("alert")).to_be_visible()
    page.locator("[name=valid_days]").fill("30")
    page.locator("[name=valid_days]").press("Tab")
    expect(field.get_by_role("alert")).to_have_count(0)
