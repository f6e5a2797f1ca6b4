"""A message that cannot be written stops no other, and each arrives as itself."""

from typing import Any

import pytest

from clients.messaging import outbox
from clients.messaging.channels import email
from clients.messaging.models import Message
from tests.outbox import queued, states
from tests.peer import DROP, Peer

pytestmark = [
    pytest.mark.smtp,
    pytest.mark.django_db(transaction=True),
    pytest.mark.usefixtures("business"),
]


@pytest.fixture
def written(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Whom each message was written to, in order; the one to client2 cannot be written."""
    found: list[str] = []

    def compose(head: Any, message: Message, **more: Any) -> bytes:
        found.append(message.address)
        if message.address.startswith("client2"):
            raise ZeroDivisionError("It cannot be written.")
        return original(head, message, **more)

    original = email.compose_email
    monkeypatch.setattr(email, "compose_email", compose)
    return found


def test_a_message_that_cannot_be_written_fails_in_its_own_turn_only(
    peer: Peer, written: list[str]
) -> None:
    for number in (1, 2, 3):
        queued(number)
    outbox.deliver()
    assert dict(Message.objects.values_list("address", "state")) == {
        "client1@example.org": "accepted",
        "client2@example.org": "failed",
        "client3@example.org": "accepted",
    }
    assert [envelope.rcpt_tos for envelope in peer.taken] == [
        ["client1@example.org"],
        ["client3@example.org"],
    ]


def test_each_message_arrives_as_itself_and_is_written_once(peer: Peer, written: list[str]) -> None:
    sent = [queued(number, subject=f"Deck {number}") for number in (1, 3, 4)]
    outbox.deliver()
    arrived = [
        (peer.taken[place].rcpt_tos[0], peer.message(place)["Message-ID"]) for place in range(3)
    ]
    assert arrived == [(each.address, each.message_id) for each in sent]
    assert written == [each.address for each in sent]


def test_an_answer_that_is_lost_leaves_the_next_one_whole(peer: Peer, written: list[str]) -> None:
    peer.handler.once["DOT"] = [DROP]
    for number in (1, 3):
        queued(number)
    outbox.deliver()
    assert states() == {"unconfirmed": 1, "accepted": 1}
    assert peer.message(1)["To"] == "client3@example.org"
