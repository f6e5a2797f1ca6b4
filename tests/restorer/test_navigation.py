"""Every page lights the place in the navigation that it belongs to."""

from typing import Any

import pytest
from django.test import Client as Browser
from django.urls import reverse

from restorer.context import PAGES
from tests.clients.test_rights import ADDRESSES, PUBLIC
from tests.factories import CoatFactory, CrewFactory, MessageFactory, OfferFactory
from tests.jobs.offer_book import price_list

# Addresses that answer with a file, a redirect or a form's mistake instead of a page of the frame.
FILES = {"offers:pdf", "diary:calendar_file", "jobs:care_record", "jobs:photo", "speech:text_look"}
BARE = {"jobs:sign_off"}  # what the client reads on our phone


def lit(text: str) -> list[str]:
    """The entries that are marked as the place where one is."""
    frame = text.split('class="boards"')[1].split("</nav>")[0]
    parts = [part.split("</a>")[0] for part in frame.split('aria-current="page">')[1:]]
    return [part.split("<span>")[1].split("<")[0] for part in parts]


@pytest.fixture
def book(business: Any) -> dict[str, Any]:
    """A row of everything that a page is about, by the name of its address."""
    coat = CoatFactory()
    deck = coat.job.deck
    offer = OfferFactory(is_sent=True, site=deck.site)
    message = MessageFactory(client=deck.site.client)
    price_list()
    crew = CrewFactory()
    return {
        "clients": deck.site.client_id,
        "decks": deck.pk,
        "jobs:detail": coat.job_id,
        "offers": offer.pk,
        "outbox": message.pk,
        "crew": crew.pk,
    }


def test_every_page_lights_exactly_one_entry(as_owner: Browser, book: dict[str, Any]) -> None:
    found = {}
    for name in sorted(set(ADDRESSES) - PUBLIC - FILES - BARE):
        arguments = dict(ADDRESSES[name])
        group = name.partition(":")[0]
        for argument in ("pk", "deck_id"):
            if argument in arguments:
                arguments[argument] = book.get(name) or book.get(group) or book["decks"]
        answer = as_owner.get(reverse(name, kwargs=arguments))
        if answer.status_code == 200 and "text/html" in answer["Content-Type"]:
            found[name] = lit(answer.content.decode())

    assert len(found) > 50
    assert {name: entries for name, entries in found.items() if len(set(entries)) != 1} == {}
    assert {entry for entries in found.values() for entry in entries} == {
        label for label, *_ in PAGES
    }
