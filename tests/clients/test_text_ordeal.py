"""The ordeal for text messages: senders killed while the gateway stalls, loses and refuses;
it knows what went."""

import contextlib
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import pytest

from clients.messaging.models import Message
from clients.messaging.models.message import State
from restorer.local import processes
from tests import database
from tests.factories import BusinessFactory
from tests.gateway import gateway_row
from tests.ordeal.ordeal import Ordeal, cut_connections

pytestmark = [pytest.mark.slow, pytest.mark.django_db(transaction=True)]
SHARES = [
    "--lose=0.04",
    "--forget=0.03",
    "--stall=0.03",
    "--busy=0.03",
    "--refuse=0.02",
    "--stall-seconds=3",
]


class TextOrdeal(Ordeal):
    """The same torment by another way: `taken.log` is the gateway's, references are those of the
    messages."""

    channel = "text"
    first_port = 2900

    def message_fields(self, number: int) -> dict[str, str]:
        return {
            "kind": "service",
            "address": f"+1902555{number:04d}",
            "subject": "",
            "text": "We come on Tuesday.",
        }

    @contextlib.contextmanager
    def peer(self) -> Iterator[None]:
        with super().peer():
            gateway_row(
                f"http://127.0.0.1:{self.port}/messages", look_up_url=""
            )  # what is unconfirmed stays so
            yield

    def peer_arguments(self) -> list[str]:
        arguments = [
            f"--port={self.port}",
            f"--log={self.log}",
            f"--latest-seconds={self.latest_seconds}",
        ]
        return [processes.MANAGE_PY, "fake_gateway", *arguments, *SHARES]

    def sender_settings(self) -> dict[str, str]:
        return {"GATEWAY_TIMEOUT": "2"}

    def taken_counts(self) -> Counter[str]:
        domain = Message.objects.values_list("message_id", flat=True)[0].partition("@")[2]
        return Counter(f"<{line.split()[0]}@{domain}" for line in self.log.read_text().splitlines())


def test_nothing_is_texted_twice_or_lost_while_senders_are_killed(tmp_path: Path) -> None:
    BusinessFactory()
    environment = {
        "DATABASE_URL": database.url_of_database(),
        "RESTORER_NO_VENV": "1",
        "DJANGO_SETTINGS_MODULE": "tests.settings",
    }

    ordeal = TextOrdeal(
        tmp_path,
        environment,
        cut_connections,
        messages=80,
        senders=2,
        kills=4,
        outages=1,
        latest_seconds=0.06,
    )
    table = ordeal.run()

    assert (table["accepted_twice"], table["lost"], table["taken_unrecorded"]) == (0, 0, 0)
    assert table["taken_back_and_sent"] == 0
    assert table["taken_back"] >= 4  # the presses that were still held, at the least
    assert table["accepted"] > 50
    ended = ("accepted", "unconfirmed", "failed", "taken_back")
    assert sum(int(str(table[name])) for name in ended) == 80
    assert Message.objects.filter(state=State.UNCONFIRMED).count() == table["unconfirmed"]
