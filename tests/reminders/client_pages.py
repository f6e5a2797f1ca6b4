"""Clients who got a reminder, and what they send from the page that it leads to."""

import re
from datetime import UTC, date, datetime
from typing import Any

from django.test import Client as Browser

from clients.messaging.models import Message, TextGateway
from clients.models import Deck
from reminders import actions
from reminders.months import shift_months
from reminders.steps import ReminderRequest
from tests.factories import (
    ClientFactory,
    CoatFactory,
    ConsentFactory,
    DeckFactory,
    EmailFactory,
    PackFactory,
    PhoneFactory,
    PropertyFactory,
    ReminderStepFactory,
)

NOW = datetime(2027, 5, 10, 12, tzinfo=UTC)  # a Monday morning in Nova Scotia
TODAY = date(2027, 5, 10)
WEEK = "2027-05-17"
PAGE_LINK = re.compile(r"https://decks\.example\.com(/p/[^/\s]+/)")


def due_deck(
    channel: str = "email", *, site: Any = None, label: str = "Back deck", **client: Any
) -> Deck:
    """A deck that is due, of a client who can be reached by this channel alone."""
    ReminderStepFactory(number=1, channels=[channel])
    if channel == "text":
        TextGateway.objects.create(
            id=1, url="https://gateway.example.com/send", template={"to": "{to}"}, is_on=True
        )
    if site is None:
        owner = ClientFactory(**{"name": "Ottilie Saltonby", **client})
        EmailFactory(client=owner, value="ottilie@example.org")
        PhoneFactory(client=owner, value="902-555-0142")
        ConsentFactory(client=owner, channel=channel)
        site = PropertyFactory(client=owner, street="7 Plover Row", postcode="B0J 2C0")
    made: Deck = DeckFactory(site=site, label=label)
    coat = CoatFactory(job__deck=made, job__finished_on=date(2024, 6, 12))
    PackFactory(product=coat.product)
    return made


def remind_of(*decks: Deck, now: datetime = NOW) -> Message:
    ids = [deck.pk for deck in decks]
    actions.refresh_forecasts(deck_ids=ids, today=now.date(), now=now)
    asked = ReminderRequest(shift_months(TODAY, 6), ids, at_once=True)
    result = actions.queue_reminders(asked=asked, by=None, now=now)
    assert len(result.queued) == 1, result.left_out
    return result.queued[0]


def page_url(message: Message) -> str:
    """The address of the page that an e-mail or a text message leads to."""
    found = PAGE_LINK.search(message.text)
    assert found, message.text
    return found[1]


def press(browser: Browser, url: str, action: str, **values: Any) -> Any:
    return browser.post(url, {"answer": action, **values})


def text_of(answer: Any) -> str:
    return " ".join(answer.content.decode().split())
