"""What several tests of clients need."""

import pytest

from clients.models import Place
from tests.clients.filled import place


@pytest.fixture
def lunenburg(db: None) -> Place:
    # GeoNames 6059600 (town, latitude, longitude)
    return place(6059600, "Lunenburg", "Nova Scotia", "CA", 44.3785, -64.3153, "America/Halifax", 2263)
