"""The demo's gateway: whatever gateway the book names, nothing leaves this machine, and what it
takes is reported."""

import time

import pytest
from pytest_django.live_server_helper import LiveServer

from clients.messaging import outbox
from clients.messaging.models import InboundEvent, TextGateway
from clients.models import Business
from restorer.local import text_catcher
from tests.gateway import queued_text


@pytest.mark.django_db(transaction=True)
def test_texts_are_caught_and_reported(business: Business, live_server: LiveServer) -> None:
    TextGateway.objects.create(
        id=1, is_on=True, url="https://gateway.example.com/", template={"to": "{to}"}
    )
    server = text_catcher.start_text_catcher()
    try:
        text_catcher.use_text_catcher(server, live_server.url)
        message = queued_text(1)

        outbox.deliver()
        until = time.monotonic() + 10  # it reports in a thread of its own
        while (
            not InboundEvent.objects.filter(outcome__contains="arrived").exists()
            and time.monotonic() < until
        ):
            time.sleep(0.02)
        assert server.gateway.send_answer("+19025550101", "STOP") == 200

        assert [each["to"] for each in server.gateway.taken] == ["+19025550101"]
        message.refresh_from_db()
        assert message.state == "delivered"
        assert InboundEvent.objects.filter(
            source="text inbound", outcome__startswith="Sent a word back"
        ).exists()
        assert "example.com" not in TextGateway.objects.get().url
    finally:
        server.shutdown()
        server.server_close()
