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
    for _ in range(2):
        client = ClientFactory(preferred_channel="text")
        PhoneFactory(client=client)
        ConsentFactory(client=client, channel="text", basis="written")
        deck = due(client=client)

    def pages():
        with freeze_time(NOW):
            plan = as_owner.get("/reminders/?month=2026-11")
            chosen = as_owner.post("/due/remind/", {"month": "2026-11", "deck": [deck.pk]})
        return plan.context["preview"].parts, plan.content.decode(), chosen.content.decode()

    parts, plan, chosen = pages()
    assert parts >= 2
    for page in (plan, chosen):
        assert "each part is paid for." in page
    gateway.part_price = Decimal("1.5")
    gateway.save()

    parts, plan, chosen = pages()

    assert (
        f"{parts} parts in all; each part is paid for: about ${parts * Decimal('1.5'):.2f}" in plan
    )
    assert f"about ${parts // 2 * Decimal('1.5'):.2f}" in chosen
