"""What several tests of clients need."""

from collections.abc import Iterator

import pytest
from pytest_django import Settings

from clients.messaging import channels
from clients.models import Place
from tests.clients.filled import place
from tests.paper_line import PaperLine
from tests.peer import Peer, running_peer


@pytest.fixture
def lunenburg(db: None) -> Place:
    # GeoNames 6059600 (town, latitude, longitude)
    return place(
        6059600, "Lunenburg", "Nova Scotia", "CA", 44.3785, -64.3153, "America/Halifax", 2263
    )


@pytest.fixture
def line(monkeypatch: pytest.MonkeyPatch) -> PaperLine:
    """Takes the place of the mail server."""
    made = PaperLine()
    monkeypatch.setitem(channels.TRANSPORTS, "email", lambda business: made)
    return made


@pytest.fixture
def peer(settings: Settings) -> Iterator[Peer]:
    """A mail server that the outbox hands over to."""
    with running_peer() as running:
        settings.EMAIL_HOST = "127.0.0.1"
        settings.EMAIL_PORT = running.port
        settings.EMAIL_TIMEOUT = 2
        yield running
