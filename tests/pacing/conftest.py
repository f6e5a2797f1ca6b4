"""The core needs no database and no cache: these tests run without them."""

import pytest


@pytest.fixture(autouse=True)
def _empty_cache() -> None:
    """Nothing to empty."""
