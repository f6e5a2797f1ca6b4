"""Texts in a browser: counted while typing, tried without scripts, and the look of an e-mail at any
width."""

import re
from collections.abc import Callable

import pytest
from playwright.sync_api import Browser, Page, expect

from clients.messaging.texts import MESSAGE_FIELDS, compose_text
from clients.models import Business
from tests.browser.conftest import DESKTOP, violations
from tests.factories import ClientFactory

Open = Callable[..., Page]
SHEET = re.compile(r"<style>.*?</style>", re.DOTALL)


def test_a_text_message_is_counted_while_it_is_typed(open_as: Open) -> None:
    ClientFactory(name="Ottilie Saltonby")
    page = open_as("owner", "/settings/texts/first/text/en/", size=DESKTOP)
    box = page.get_by_label("Text", exact=True)
    preview = page.locator("#preview")

    box.fill("{business} {stop_line} " + "a" * 121)
    expect(preview).to_contain_text("1 part, 160 characters, 0 left")
    box.press("End")
    box.press_sequentially("ā")
    expect(preview).to_contain_text("3 parts, 161 characters")
    expect(preview).to_contain_text("outside the plain alphabet")
    box.fill("{greeting")
    expect(preview).to_contain_text("single {")


def test_the_preview_button_works_without_scripts(open_as: Open) -> None:
    ClientFactory(name="Ottilie Saltonby")
    page = open_as("owner", "/settings/texts/booked/text/en/", scripts=False)
    page.get_by_label("Text", exact=True).fill("Hello {greeting}: {visit_day}")
    page.get_by_role("button", name="Preview").click()
    expect(page.locator("#preview")).to_contain_text(
        "Hello Ottilie Saltonby: Tuesday, May 11, 2027"
    )
    expect(page.get_by_label("Text", exact=True)).to_have_value("Hello {greeting}: {visit_day}")


def test_what_is_typed_is_shown_with_its_look(open_as: Open) -> None:
    page = open_as("owner", "/settings/texts/first/email/fr/", size=DESKTOP, dark=True)
    frame = page.frame_locator("iframe[name=look]")
    expect(frame.get_by_text("Bonjour")).to_be_visible()
    page.get_by_label("Text", exact=True).fill(
        "Salut {greeting}\n\n{decks}\n\n--\nStop: {unsubscribe_url}"
    )
    page.get_by_role("button", name="Show what I typed").click()
    expect(frame.get_by_text("Salut")).to_be_visible()
    assert violations(page) == []


@pytest.fixture
def offer(business: Business) -> str:
    long = "Landing by the " + "averyverylongword" * 6
    fields = {
        "greeting": "Ottilie",
        "decks": f"{MESSAGE_FIELDS['decks'].sample}\n\n{long}",
        "offer_number": "104",
        "total": "$684.25",
        "offer_url": "https://decks.example.com/o/" + "a" * 43 + "/",
        "valid_until": "Apr 30, 2027",
    }
    return compose_text(purpose="offer", channel="email", language="en", fields=fields).html


@pytest.mark.parametrize("width", [320, 600, 1000])
@pytest.mark.parametrize("has_sheet", [True, False], ids=["whole", "without its style sheet"])
def test_an_email_fits_every_width_and_follows_the_dark(
    chromium: Browser, offer: str, width: int, has_sheet: bool
) -> None:
    grounds = []
    for scheme in ("light", "dark"):
        context = chromium.new_context(
            viewport={"width": width, "height": 600}, color_scheme=scheme
        )
        page = context.new_page()
        page.set_content(offer if has_sheet else SHEET.sub("", offer))
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        assert page.locator(".sheet").bounding_box()["width"] <= 600
        button = page.get_by_role("link", name="See the offer and answer").bounding_box()
        assert min(button["height"], button["width"]) >= 44  # WCAG 2.2, 2.5.5
        grounds.append(
            page.locator(".sheet").evaluate("each => getComputedStyle(each).backgroundColor")
        )
        context.close()
    assert (grounds[0] != grounds[1]) == has_sheet
