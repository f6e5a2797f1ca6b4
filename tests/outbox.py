"""Messages in the outbox that may go out, for tests:
client, address, consent and message in one."""

from typing import Any

from django.utils import timezone

from clients.messaging import outbox
from clients.messaging.models import Message
from clients.models import Business
from tests.factories import ConsentFactory, EmailFactory

PLACES = "4 Tern Wharf, Lunenburg, 902-555-0100, office@example.com. STOP ends this."
SENDER = f"Driftline Deck Care, {PLACES}"  # what the law of any country wants in a reminder
TEXT = "The finish on your deck is due.\n\nTo stop these messages: {unsubscribe_url}\n"


def queued(number: int = 1, **over: Any) -> Message:
    """A reminder to client<number>@example.org with consent in force."""
    address = over.pop("address", f"client{number}@example.org")
    point = EmailFactory(value=address, normalized=address.lower())
    consent = ConsentFactory(client=point.client)
    values: dict[str, Any] = {
        "client": point.client,
        "kind": "reminder",
        "channel": "email",
        "address": address,
        "subject": "Your deck is due this spring",
        "text": TEXT,
        "html": "",
        "key": f"due/{number}",
        "consent": consent,
        "basis": consent.basis,
        "now": timezone.now(),
    }
    values |= over
    if values["kind"] != "service" and values["text"].strip():
        values["text"] = f"{Business.objects.get().name}, {PLACES} {values['text']}"
    message, _ = outbox.queue_message(**values)
    return message


def states() -> dict[str, int]:
    return Message.objects.count_by_state()
