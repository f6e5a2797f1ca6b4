"""Putting the book right in a real browser: both sides of a record, doubles, a sold house, an
erasure; each page is accessible and not wider than the phone."""

from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

from clients.models import Client, Erasure, Place, User
from tests.browser.conftest import faults_of_both_looks
from tests.factories import ClientFactory, CoatFactory, DeckFactory, PhoneFactory, PropertyFactory

Open = Callable[..., Page]
pytestmark = pytest.mark.browser


@pytest.fixture
def vera(people: dict[str, User]) -> Client:
    client = ClientFactory(name="Vera Testwell")
    PhoneFactory(client=client, value="902-555-0161")
    deck = DeckFactory(
        site=PropertyFactory(client=client, street="9 Eider Drive"), label="Back deck"
    )
    CoatFactory(job__deck=deck)
    return client


def save(page: Page) -> None:
    page.get_by_role("button", name="Save").click()
    page.wait_for_load_state()


def test_the_second_of_two_people_sees_both_sides_and_decides(open_as: Open, vera: Client) -> None:
    first = open_as("owner", f"/clients/{vera.pk}/edit/")
    second = open_as("office", f"/clients/{vera.pk}/edit/", may_complain=True)  # of the 409
    first.get_by_label("Notes").first.fill("Rings twice")
    save(first)
    second.get_by_label("Notes").first.fill("Dog barks")
    save(second)

    expect(second.get_by_role("heading", level=1)).to_have_text("Changed meanwhile")
    assert faults_of_both_looks(second) == []
    second.get_by_label("Yours: Dog barks").check()
    save(second)
    vera.refresh_from_db()
    assert vera.notes == "Dog barks"


def test_a_client_like_another_is_asked_about_then_merged_and_undone(
    open_as: Open, vera: Client
) -> None:
    Place.objects.create(
        geoname_id=1,
        name="Lunenburg",
        ascii_name="Lunenburg",
        region="Nova Scotia",
        country="CA",
        latitude=44.38,
        longitude=-64.31,
        time_zone="America/Halifax",
    )
    page = open_as("office", "/clients/new/")
    page.get_by_label("Name", exact=True).fill("Testwell, Vera")
    page.get_by_label("Number or address").first.fill("902-555-0161")
    page.get_by_label("Street and number").fill("4 Gannet Row")
    page.get_by_label("Town").fill("Lunenburg")
    page.get_by_label("Wood", exact=True).select_option("larch")
    page.get_by_role("button", name="Save client and deck").click()
    page.wait_for_load_state()

    expect(page.get_by_text("Is this client in the book already?")).to_be_visible()
    assert faults_of_both_looks(page) == []
    page.get_by_label("This is somebody else").check()
    page.get_by_role("button", name="Save client and deck").click()
    page.wait_for_url("**/decks/*/")
    page.goto("/clients/doubles/")
    assert faults_of_both_looks(page) == []
    page.get_by_role("link", name="Vera Testwell and Testwell, Vera").click()
    assert faults_of_both_looks(page) == []
    page.get_by_role("button", name="Merge: one client").click()
    page.wait_for_url(f"**/clients/{vera.pk}/")
    assert vera.properties.count() == 2
    page.get_by_text("Merged with Testwell, Vera").click()
    page.get_by_role("button", name="Undo: two again").click()
    expect(page.get_by_text("are two clients again")).to_be_visible()
    assert vera.properties.count() == 1


def test_a_house_is_sold_and_the_former_owner_erased(open_as: Open, vera: Client) -> None:
    page = open_as("owner", f"/clients/{vera.pk}/")
    page.get_by_role("link", name="House sold").click()
    assert faults_of_both_looks(page) == []
    page.get_by_label("New owner").fill("Otto Bright")
    page.get_by_label("E-mail").fill("otto@example.org")
    page.get_by_role("button", name="Enter the new owner").click()
    page.wait_for_url("**/consent/")
    page.goto(f"/clients/{vera.pk}/")
    expect(page.get_by_text("Had 9 Eider Drive")).to_be_visible()
    assert faults_of_both_looks(page) == []
    page.get_by_role("link", name="Erase this person").click()
    assert faults_of_both_looks(page) == []
    page.get_by_role("button", name="Erase this person for good").click()
    page.wait_for_url("**/erasures/")
    assert Erasure.objects.get().client_number == vera.pk
    assert faults_of_both_looks(page) == []


def test_the_pages_of_a_deck_that_moves_or_is_there_twice(open_as: Open, vera: Client) -> None:
    home = vera.properties.get()
    DeckFactory(site=home, label="Deck")
    deck = home.decks.order_by("pk").first()
    assert deck is not None
    page = open_as("office", f"/decks/{deck.pk}/edit/")
    page.get_by_role("link", name="The same deck is in the book twice").click()
    assert faults_of_both_looks(page) == []
    page.goto(f"/jobs/move-deck/{deck.pk}/?q=eider")
    assert faults_of_both_looks(page) == []
