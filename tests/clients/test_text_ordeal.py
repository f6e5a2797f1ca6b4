"""The ordeal for text messages: senders killed while the gateway stalls, loses and refuses; it knows what went."""

import contextlib
import os
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from django.db import connection
from django.utils import timezone

from clients.models import Business, Client, Consent, Message
from clients.models.message import State
from clients.outbox import queueing
from restorer import processes
from restorer.ordeal import LONGEST_SECONDS, MOVING, Ordeal, cut_connections
from tests.factories import BusinessFactory
from tests.gateway import gateway_row

pytestmark = [pytest.mark.slow, pytest.mark.django_db(transaction=True)]
SHARES = ["--lose=0.04", "--forget=0.03", "--stall=0.03", "--busy=0.03", "--refuse=0.02", "--stall-seconds=3"]


class TextOrdeal(Ordeal):
    """The same torment by another way: `taken.log` is the gateway's, references are those of the messages."""

    def queue(self) -> None:
        business, now = Business.objects.get(), timezone.now()
        people = Client.objects.bulk_create([Client(name=f"Ordeal client {n}") for n in range(self.messages)])
        consents = Consent.objects.bulk_create(
            [Consent(client=person, channel="text", is_given=True, evidence="invented") for person in people]
        )
        drafts = [
            queueing.draft(
                business, client=each.client, kind="service", channel="text", address=f"+1902555{number:04d}",
                subject="", text="We come on Tuesday.", html="", key=f"ordeal/{number}", consent=each, basis="express",
                now=now,
            )
            for number, each in enumerate(consents)
        ]  # fmt: skip
        queueing.keep(drafts, by=None, now=now)

    @contextlib.contextmanager
    def peer(self) -> Iterator[None]:
        port = processes.free_port(2900)
        gateway_row(f"http://127.0.0.1:{port}/messages", look_up_url="")  # so that what is unconfirmed stays so
        self.log.touch()
        arguments = [f"--port={port}", f"--log={self.log}", f"--latest-seconds={self.latest_seconds}", *SHARES]
        command = [sys.executable, processes.MANAGE, "fake_gateway", *arguments]
        process = subprocess.Popen(command, env=os.environ | self.environment, stdout=subprocess.DEVNULL)
        try:
            assert processes.answers("127.0.0.1", port)
            yield
        finally:
            self.kill_all()
            process.kill()
            process.wait()

    def start_sender(self) -> subprocess.Popen[bytes]:
        own = {"GATEWAY_TIMEOUT": "2", "LOG_LEVEL": "CRITICAL"}
        command = [sys.executable, processes.MANAGE, "deliver"]
        return subprocess.Popen(command, env=os.environ | self.environment | own, stdout=subprocess.DEVNULL)

    def wait_until_nothing_is_due(self) -> None:
        until = time.monotonic() + LONGEST_SECONDS
        while Message.objects.due("text").exists() or Message.objects.filter(state__in=MOVING).exists():
            assert time.monotonic() < until, "the last sender does not get on"
            time.sleep(0.1)

    def verdict(self) -> dict[str, object]:
        """References stand in the log where the ordeal of e-mail has Message-IDs: the same comparison."""
        domain = Message.objects.values_list("message_id", flat=True)[0].partition("@")[2]
        lines = [line.split() for line in self.log.read_text().splitlines()]
        self.log.write_text("".join(f"<{reference}@{domain} {number}\n" for reference, number in lines))
        return super().verdict()


def test_nothing_is_texted_twice_or_lost_while_senders_are_killed(tmp_path: Path) -> None:
    BusinessFactory()
    connection.ensure_connection()
    there = connection.connection.info
    login = f"{there.user}:{there.password}".rstrip(":")
    url = f"postgresql://{login}@/{there.dbname}?host={there.host}&port={there.port}"
    environment = {"DATABASE_URL": url, "RESTORER_NO_VENV": "1", "DJANGO_SETTINGS_MODULE": "tests.settings"}

    ordeal = TextOrdeal(
        tmp_path, environment, cut_connections, messages=80, senders=2, kills=4, outages=1, latest_seconds=0.06
    )
    table = ordeal.run()

    assert (table["accepted_twice"], table["lost"], table["taken_unrecorded"]) == (0, 0, 0)
    assert table["accepted"] > 50
    assert table["accepted"] + table["unconfirmed"] + table["failed"] == 80
    assert Message.objects.filter(state=State.UNCONFIRMED).count() == table["unconfirmed"]
