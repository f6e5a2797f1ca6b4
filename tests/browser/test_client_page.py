"""The client's own page in a real browser: accessible, pressed with a thumb and without scripts."""

from collections.abc import Callable
from datetime import timedelta
from io import BytesIO

import pytest
from django.utils import timezone
from PIL import Image
from playwright.sync_api import Page, expect

from clients.models import Business, Client, Deck
from jobs.models import Photo, Visit
from reminders.actions import queue_reminders, refresh_forecasts
from reminders.models import ClientAnswer, Stop
from reminders.steps import ReminderRequest
from tests.browser.conftest import DESKTOP, PHONE
from tests.browser.test_offer_page import wrong_with
from tests.business_day import today_there
from tests.factories import CrewFactory, PhotoFactory
from tests.jobs.offer_book import price_list
from tests.reminders.client_pages import due_deck, page_url

Open = Callable[..., Page]


@pytest.fixture
def deck(business: Business) -> Deck:
    """Due and undecided, with a price, a crew and a photograph."""
    price_list()
    CrewFactory(name="Tern crew")
    deck = due_deck()
    deck.jobs.update(finished_on=today_there() - timedelta(days=465))
    PhotoFactory(deck=deck, caption="The steps, finished")
    return deck


@pytest.fixture
def url(deck: Deck) -> str:
    now = timezone.now()
    today = today_there()
    refresh_forecasts(deck_ids=[deck.pk], today=today, now=now)
    asked = ReminderRequest(today + timedelta(days=900), [deck.pk], at_once=True)
    return page_url(queue_reminders(asked=asked, by=None, now=now).queued[0])


@pytest.mark.parametrize(
    ("size", "dark", "language"),
    [(PHONE, False, "en"), (DESKTOP, True, "en"), (PHONE, True, "fr")],
    ids=["phone, light", "desktop, dark", "phone, dark, French"],
)
def test_the_page_is_accessible_before_and_after_each_press(
    open_as: Open, deck: Deck, url: str, size: dict[str, int], dark: bool, language: str
) -> None:
    link_of = deck.reminders.get().message
    type(link_of).objects.filter(pk=link_of.pk).update(language=language)
    page = open_as("", url, size=size, dark=dark, may_complain=True)
    found = {"fresh": wrong_with(page)}
    for press in ("details", "contact", "week"):
        page.locator(f'button[name="answer"][value="{press}"]').evaluate(
            "button => { const d = button.closest('details'); if (d) d.open = true }"
        )
        page.locator(f'button[name="answer"][value="{press}"]').click()
        found[press] = wrong_with(page)
    for press in ("not_now", "sold"):
        page.locator(f'button[name="answer"][value="{press}"]').click()
        found[press] = wrong_with(page)
    page.goto(f"{url}look/{deck.pk}/")
    found["look"] = wrong_with(page)
    page.locator("main form button").click()
    found["look with mistakes"] = wrong_with(page)
    page.goto("/p/")
    page.locator("main form button").click()
    found["code with mistakes"] = wrong_with(page)
    page.goto("/p/NOSUCHCODE/")
    found["unknown"] = wrong_with(page)

    assert {state: wrong for state, wrong in found.items() if wrong} == {}
    assert page.locator("html").get_attribute("lang") == "en"  # of the business: nobody is known


def test_a_client_asks_says_no_and_answers_with_a_thumb_and_without_scripts(
    open_as: Open, deck: Deck, url: str
) -> None:
    page = open_as("", url, scripts=False)

    page.get_by_role("link", name="Answer for Back deck").click()
    page.get_by_label("It stands in drops").check()
    for question in ("Has it gone grey?", "Does anything peel?"):
        page.get_by_role("group", name=question).get_by_label("No", exact=True).check()
    picture = BytesIO()
    Image.new("RGB", (80, 60), "#8d6f52").save(picture, "JPEG")
    page.get_by_label("A photograph, if you like").set_input_files(
        {"name": "deck.jpg", "mimeType": "image/jpeg", "buffer": picture.getvalue()}
    )
    page.get_by_role("button", name="Send").click()
    expect(page.get_by_text("Thank you.")).to_be_visible()
    assert Visit.objects.get().observer == "client"
    assert Photo.objects.count() == 2

    page.locator('[name="offer-week"]').first.check()
    page.get_by_role("button", name="Ask for this week").click()
    expect(page.get_by_role("heading", name="You asked for the week of")).to_be_visible()
    page.get_by_role("button", name="Take it back").click()
    page.get_by_role("button", name="Not this year").click()
    expect(page.get_by_role("heading", name="No more reminders until")).to_be_visible()
    assert Stop.objects.get().deck == deck

    page.get_by_text("Choose how, or stop").click()
    page.get_by_role("button", name="Stop all reminders and offers").click()
    assert not Client.objects.get().consents.first().is_given
    assert ClientAnswer.objects.count() == 4
