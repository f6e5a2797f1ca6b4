"""Before text messages are queued in bulk the pages say how many parts they have, and about what
these cost."""

from decimal import Decimal

from django.test import Client as Browser
from freezegun import freeze_time

from clients.messaging.models import TextGateway
from tests.factories import ClientFactory, ConsentFactory, PhoneFactory
from tests.reminders.conftest import NOW


def test_the_preview_says_what_its_text_messages_cost(due, as_owner: Browser):
    gateway = TextGateway.objects.create(
        id=1,
        url="https://gateway.example.com/send",
        template={"to": "{to}"},
        is_on=True,
        sender="+19025550100",
    )
    decks = []
    for _ in range(2):
        client = ClientFactory(preferred_channel="text")
        PhoneFactory(client=client)
        ConsentFactory(client=client, channel="text", basis="written")
        decks.append(due(client=client))

    def pages():
        with freeze_time(NOW):
            both = as_owner.post(
                "/due/remind/", {"month": "2026-11", "deck": [deck.pk for deck in decks]}
            )
            one = as_owner.post("/due/remind/", {"month": "2026-11", "deck": [decks[0].pk]})
        return both.context["preview"].parts, both.content.decode(), one.content.decode()

    parts, both, one = pages()
    assert parts >= 2
    for page in (both, one):
        assert "each part is paid for." in page
    gateway.part_price = Decimal("1.5")
    gateway.save()

    parts, both, one = pages()

    assert (
        f"{parts} parts in all; each part is paid for: about ${parts * Decimal('1.5'):.2f}" in both
    )
    assert f"about ${parts // 2 * Decimal('1.5'):.2f}" in one
