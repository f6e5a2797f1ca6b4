"""What programs may send: reminders, by the rules of the pages."""

from collections.abc import Callable
from datetime import date

import pytest

from clients.messaging.models import Message
from clients.models import Deck, User
from reminders.models import Reminder
from tests.api.conftest import Program
from tests.factories import ClientFactory, ConsentFactory, DeckFactory, EmailFactory
from tests.reminders.conftest import coat, refresh

pytestmark = pytest.mark.usefixtures("_clock")


@pytest.fixture
def sender(program: Callable[..., Program]) -> Program:
    return program("send", "Sender")


def a_due_deck(*, coated_on: date = date(2024, 6, 1)) -> Deck:
    client = ClientFactory()
    EmailFactory(client=client)
    ConsentFactory(client=client)
    deck: Deck = DeckFactory(site__client=client)
    coat(deck, on=coated_on, kind="strip")
    refresh(deck)
    return deck


def test_chosen_decks_are_reminded_about_and_a_person_can_take_it_back(
    sender: Program, owner: User
) -> None:
    deck, fresh = a_due_deck(), a_due_deck(coated_on=date(2026, 10, 1))
    body = {"month": "2027-03", "deck_ids": [deck.pk, fresh.pk], "at_once": True}

    answer = sender.post("/reminders", body)

    made = answer.json()
    message = Message.objects.get()
    assert answer.status_code == 201, made
    assert [row["message_id"] for row in made["queued"]] == [message.pk]
    assert made["queued"][0]["deck_ids"] == [deck.pk]
    assert made["queued"][0]["address"] == deck.site.client.contact_points.get().value
    assert [(row["deck_id"], bool(row["why"])) for row in made["left_out"]] == [(fresh.pk, True)]
    assert message.sending.by == owner


def test_nobody_is_reminded_twice_whatever_the_key(sender: Program) -> None:
    deck = a_due_deck()
    body = {"month": "2027-03", "deck_ids": [deck.pk], "at_once": True}

    for key in ("1", "1", "2"):
        assert sender.post("/reminders", body, key=key).status_code == 201

    assert (Message.objects.count(), Reminder.objects.count()) == (1, 1)


def test_a_deck_that_is_not_there_is_named_and_nobody_is_reminded(sender: Program) -> None:
    deck = a_due_deck()

    answer = sender.post("/reminders", {"month": "2027-03", "deck_ids": [deck.pk, 999_999]})

    assert answer.status_code == 422
    assert answer.json()["errors"][0]["pointer"] == "/deck_ids/1"
    assert not Message.objects.exists()
