"""A small ordeal in each run of the tests; `manage.py ordeal` is the full one."""

from pathlib import Path

import pytest

from tests import database
from tests.ordeal.ordeal import Ordeal, cut_connections

pytestmark = [pytest.mark.slow, pytest.mark.smtp, pytest.mark.django_db(transaction=True)]


def test_nothing_is_sent_twice_or_lost_while_senders_are_killed(tmp_path: Path) -> None:
    environment = {
        "DATABASE_URL": database.url_of_database(),
        "RESTORER_NO_VENV": "1",
        "DJANGO_SETTINGS_MODULE": "tests.settings",
    }

    ordeal = Ordeal(
        tmp_path,
        environment,
        cut_connections,
        messages=200,
        senders=2,
        kills=6,
        outages=1,
        latest_seconds=0.06,
    )
    table = ordeal.run()

    assert (table["accepted_twice"], table["lost"], table["taken_unrecorded"]) == (0, 0, 0)
    assert table["taken_back_and_sent"] == 0
    assert table["taken_back"] >= 4  # the presses that were still held, at the least
    assert table["accepted"] > 150
    ended = ("accepted", "unconfirmed", "failed", "taken_back")
    assert sum(int(str(table[name])) for name in ended) == 200
