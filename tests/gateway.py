"""The bundled gateway as a real HTTP peer in a thread, its row, and text messages that may go
out."""

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import time
from typing import Any

from clients.messaging.channels.fake_gateway import FakeGateway, FakeGatewayServer
from clients.messaging.models import Message, SendingRules, TextGateway
from tests.factories import ConsentFactory, PhoneFactory, PropertyFactory
from tests.outbox import queue_test_message

TEXT = (
    "Driftline Deck Care, 4 Tern Wharf, Lunenburg, 902-555-0100: your deck is due by March. Reply"
    " STOP to end."
)
STATUSES = {"delivered": "delivered", "failed": "failed", "sent": "accepted", "unknown": "none"}
REFUSALS = {"bad_number": "for_good", "busy": "for_now", "opted_out": "opted_out"}


class Peer:
    """The running gateway: its port, its plan, and what it has taken."""

    def __init__(self, server: FakeGatewayServer) -> None:
        self.server = server
        self.gateway: FakeGateway = server.gateway
        self.port = server.server_port

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}/messages"

    @property
    def taken(self) -> list[dict[str, str]]:
        return self.gateway.taken


@contextmanager
def running_gateway(**options: Any) -> Iterator[Peer]:
    server = FakeGatewayServer(0, FakeGateway(**options))
    thread = threading.Thread(
        target=server.serve_forever, kwargs={"poll_interval": 0.02}, daemon=True
    )
    thread.start()
    try:
        yield Peer(server)
    finally:
        server.shutdown()
        server.server_close()
        thread.join()


def gateway_row(url: str, **over: Any) -> TextGateway:
    """The row that describes the bundled gateway."""
    values: dict[str, Any] = {
        "id": 1,
        "is_on": True,
        "url": url,
        "sender": "+19025550100",
        "statuses": STATUSES,
        "refusals": REFUSALS,
        "template": {"to": "{to}", "from": "{from}", "text": "{text}", "reference": "{reference}"},
        "look_up_url": url + "/{reference}",
    }
    return TextGateway.objects.create(**(values | over))


def no_quiet_hours() -> None:
    """So that tests pass at any time of day."""
    midnight = time()
    SendingRules.objects.get_or_create(
        id=1,
        defaults={
            "quiet_from": midnight,
            "quiet_until": midnight,
            "on_sundays": True,
            "on_holidays": True,
        },
    )


def queued_text(number: int = 1, **over: Any) -> Message:
    """A reminder to 902-555-01<number> with consent in force."""
    no_quiet_hours()
    point = PhoneFactory(value=f"902-555-01{number:02d}")
    PropertyFactory(client=point.client)  # its country says which law counts
    consent = ConsentFactory(
        client=point.client, channel="text", wording="Yes, remind me by text message."
    )
    values: dict[str, Any] = {
        "client": point.client,
        "kind": "reminder",
        "channel": "text",
        "address": point.normalized,
        "text": TEXT,
        "key": f"due/text/{number}",
        "consent": consent,
        "basis": consent.basis,
    }
    return queue_test_message(**(values | over))
