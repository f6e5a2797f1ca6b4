"""Messages in the outbox that may go out, for tests:
client, address, consent and message in one."""

from datetime import datetime
from typing import Any

from django.utils import timezone

from clients.messaging import outbox
from clients.messaging.models import Message
from clients.messaging.outbox import OutgoingMessage
from clients.messaging.texts import ComposedText
from clients.models import Business, User
from tests.factories import ConsentFactory, EmailFactory

PLACES = "4 Tern Wharf, Lunenburg, 902-555-0100, office@example.com. STOP ends this."
SENDER = f"Driftline Deck Care, {PLACES}"  # what the law of any country wants in a reminder
TEXT = "The finish on your deck is due.\n\nTo stop these messages: {unsubscribe_url}\n"


def outgoing_message(
    *,
    subject: str = "",
    text: str,
    html: str = "",
    language: str = "en",
    basis: str = "",
    **values: Any,
) -> OutgoingMessage:
    """What `queue_message` takes, from its words one by one."""
    return OutgoingMessage(
        basis=basis,
        written=ComposedText(subject, text, html, language=language),
        **values,
    )


def queue_test_message(
    *, now: datetime | None = None, by: User | None = None, **values: Any
) -> Message:
    """Queue a message of these values."""
    message, _ = outbox.queue_message(
        outgoing=outgoing_message(**values), now=now or timezone.now(), by=by
    )
    return message


def queued(number: int = 1, **over: Any) -> Message:
    """A reminder to client<number>@example.org with consent in force."""
    address = over.pop("address", f"client{number}@example.org")
    point = EmailFactory(value=address, normalized=address.lower())
    consent: Any = ConsentFactory(client=point.client)
    values: dict[str, Any] = {
        "client": point.client,
        "kind": "reminder",
        "channel": "email",
        "address": address,
        "subject": "Your deck is due this spring",
        "text": TEXT,
        "key": f"due/{number}",
        "consent": consent,
        "basis": consent.basis,
    }
    values |= over
    if values["kind"] != "service" and values["text"].strip():
        values["text"] = f"{Business.objects.get().name}, {PLACES} {values['text']}"
    return queue_test_message(**values)


def states() -> dict[str, int]:
    return Message.objects.count_by_state()
