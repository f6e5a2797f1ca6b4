"""The core needs no database and no cache: these tests run without them."""

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from reminders.forecast import Coats

MID_LATITUDE_SUN = 14.3 * (1 - 0.65 * np.cos(2 * np.pi * (np.arange(12) + 0.5) / 12))


@pytest.fixture(autouse=True)
def _empty_cache() -> None:
    """Nothing to empty."""


@pytest.fixture
def coats() -> Callable[..., Coats]:
    """Coats as on the reference deck, but for what a test says."""

    def build(**given: Any) -> Coats:
        place = {"latitude": 45.0, "sun": MID_LATITUDE_SUN, "wet_days": np.full(12, 10.0)}
        return Coats(**({"coated_on": [18000.0]} | place | given))

    return build
