"""What several tests of clients need."""

import pytest

from clients import channels
from clients.models import Place
from tests.clients.filled import place
from tests.paper_line import PaperLine


@pytest.fixture
def lunenburg(db: None) -> Place:
    # GeoNames 6059600 (town, latitude, longitude)
    return place(6059600, "Lunenburg", "Nova Scotia", "CA", 44.3785, -64.3153, "America/Halifax", 2263)


@pytest.fixture
def line(monkeypatch: pytest.MonkeyPatch) -> PaperLine:
    """Takes the place of the mail server."""
    made = PaperLine()
    monkeypatch.setitem(channels.LINES, "email", lambda business: made)
    return made
