"""The outbox and the unsubscribe page in a real browser:
accessible in every size and scheme, and pressed by name."""

import itertools
from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

from clients.messaging import message_keys
from clients.messaging.models import Message, Suppression
from clients.models import Business
from tests.browser.conftest import DESKTOP, PHONE, look, violations
from tests.outbox import queued


@pytest.fixture
def some_messages(business: Business) -> Message:
    for number in range(4):
        queued(number)
    Message.objects.filter(idempotency_key="due/1").update(state="unconfirmed", reply="timed out")
    Message.objects.filter(idempotency_key="due/2").update(
        state="failed", reply="550 5.1.1 no such mailbox"
    )
    return Message.objects.get(idempotency_key="due/1")


def test_the_outbox_is_accessible(open_as: Callable[..., Page], some_messages: Message) -> None:
    for path in ("/outbox/", f"/outbox/{some_messages.pk}/"):
        page = open_as("owner", path)
        for size, dark in itertools.product((PHONE, DESKTOP), (False, True)):
            look(page, size, dark=dark)
            assert page.evaluate("document.documentElement.scrollWidth") <= size["width"]
            assert violations(page) == []


def test_a_person_closes_an_unconfirmed_message_without_scripts(
    open_as: Callable[..., Page], some_messages: Message
) -> None:
    page = open_as("owner", "/outbox/", scripts=False)
    page.get_by_role("button", name="It went out").click()
    expect(page.get_by_text("Noted: it went out.")).to_be_visible()
    some_messages.refresh_from_db()
    assert some_messages.state == "accepted"


def test_a_client_unsubscribes_by_the_button(
    open_as: Callable[..., Page], some_messages: Message, business: Business
) -> None:
    link = message_keys.unsubscribe_link(business, some_messages).removeprefix(
        "https://decks.example.com"
    )
    page = open_as("owner", link)
    assert violations(page) == []
    page.get_by_role("button", name="Unsubscribe").click()
    expect(page.get_by_role("heading", name="You are unsubscribed")).to_be_visible()
    assert Suppression.objects.count() == 1
