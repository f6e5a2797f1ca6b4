"""From a page that was opened from a list one goes on to the next of that list."""

import re
from typing import Any

from django.test import Client as Browser
from django.urls import reverse

from tests.factories import ClientFactory, DeckFactory, MessageFactory, OfferFactory


def neighbours_of(page: Any) -> dict[str, str]:
    """“prev” and “next” with where they lead."""
    found = re.findall(r'<a rel="(prev|next)" href="([^"]+)"', page.content.decode())
    return {name: address.replace("&amp;", "&") for name, address in found}


def test_the_next_client_of_the_list_is_one_press_away(as_owner: Browser) -> None:
    first, second, third = [ClientFactory(name=f"Client {letter}") for letter in "ABC"]
    page = as_owner.get(reverse("clients:list")).content.decode()
    opened = next(link for link in re.findall(r'href="([^"]+)"', page) if f"/{second.pk}/?" in link)

    around = neighbours_of(as_owner.get(opened))

    assert f"/clients/{first.pk}/" in around["prev"]
    assert f"/clients/{third.pk}/" in around["next"]
    assert "next" not in neighbours_of(as_owner.get(around["next"]))
    assert neighbours_of(as_owner.get(reverse("clients:detail", args=[second.pk]))) == {}


def test_offers_messages_and_decks_are_walked_too(as_owner: Browser) -> None:
    offers = [OfferFactory(is_sent=True) for _ in range(2)]
    messages = [MessageFactory() for _ in range(2)]
    decks = [DeckFactory() for _ in range(2)]

    for page_name, rows in (
        ("offers:detail", offers),
        ("outbox:detail", messages),
        ("decks:detail", decks),
    ):
        first, second = (reverse(page_name, args=[row.pk]) for row in rows)
        walk = f"?among={rows[0].pk}.{rows[1].pk}"
        assert neighbours_of(as_owner.get(first + walk)) == {"next": second + walk}


def test_what_is_no_list_is_left_alone(as_owner: Browser) -> None:
    deck = DeckFactory()

    for among in ("", "x.y", f"{deck.pk}", "1." * 5000, f"{deck.pk}.{'9' * 60}"):
        page = as_owner.get(reverse("decks:detail", args=[deck.pk]), {"among": among})
        assert page.status_code == 200
        assert neighbours_of(page) == {}
