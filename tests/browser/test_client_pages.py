"""Client, deck and settings pages in a real browser:
accessible, not wider than the phone, and nothing lost."""

from collections.abc import Callable

import pytest
from django.contrib.sessions.models import Session
from playwright.sync_api import Browser, Page, expect
from pytest_django.live_server_helper import LiveServer

from clients.models import Client, User
from tests.browser.conftest import (
    PHONE,
    faults_of_both_looks,
    look,
    session_of,
)
from tests.factories import (
    ConsentFactory,
    DeckFactory,
    EmailFactory,
    MessageFactory,
    PropertyFactory,
)

Open = Callable[..., Page]


@pytest.fixture
def book(people: dict[str, User]) -> Client:
    client = EmailFactory().client
    DeckFactory(site=PropertyFactory(client=client))
    ConsentFactory(client=client)
    MessageFactory(client=client, state="unconfirmed")
    return client


def paths(client: Client) -> list[str]:
    home = client.properties.get()
    deck = home.decks.get()
    owner = User.objects.get(role="owner")
    return [
        f"/clients/{client.pk}/",
        f"/clients/{client.pk}/edit/",
        f"/clients/{client.pk}/consent/",
        "/clients/new/",
        f"/clients/properties/{home.pk}/edit/",
        f"/decks/{deck.pk}/edit/",
        "/settings/",
        "/settings/business/",
        "/settings/people/",
        f"/settings/people/{owner.pk}/",
        "/settings/people/new/",
        "/settings/password/",
        "/settings/wet-days/new/",
        "/settings/audit/",
    ]


def test_every_page_is_accessible_and_fits(open_as: Open, book: Client) -> None:
    page = open_as("owner", "/")
    for path in paths(book):
        look(page, PHONE, dark=False)
        page.goto(path)
        page.evaluate(
            "document.querySelectorAll('main details').forEach((fold) => { fold.open = true; })"
        )

        assert faults_of_both_looks(page) == [], path
        expect(page.get_by_role("heading", level=1)).to_have_count(1)


@pytest.mark.parametrize("scripts", [True, False], ids=["scripts", "no scripts"])
def test_a_form_interrupted_by_signing_out_is_sent_after_signing_in_again(
    chromium: Browser, live_server: LiveServer, people: dict[str, User], book: Client, scripts: bool
) -> None:
    context = chromium.new_context(
        base_url=live_server.url, java_script_enabled=scripts, viewport=PHONE
    )
    context.add_cookies([session_of(people["owner"], live_server.url)])
    page = context.new_page()
    page.goto(f"/clients/{book.pk}/edit/")
    page.get_by_label("Notes").fill("Gate code 4711\nsecond line")
    Session.objects.all().delete()

    page.get_by_role("button", name="Save").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Sign in again")
    page.get_by_label("Sign-in name").fill("owner")
    page.get_by_label("Password").fill("low tide at seven")
    page.get_by_role("button", name="Sign in").click()
    page.get_by_role("button", name="Send it now").click()

    expect(page.get_by_role("heading", level=1)).to_have_text(book.name)
    context.close()
    book.refresh_from_db()
    assert book.notes.splitlines() == ["Gate code 4711", "second line"]
