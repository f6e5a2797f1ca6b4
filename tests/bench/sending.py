"""How fast the outbox is handed over, against a bare smtplib loop on one connection to the same
peer."""

import contextlib
import smtplib
import statistics
import subprocess
import sys
from collections.abc import Iterator
from datetime import datetime

from django.conf import settings
from django.utils import timezone

from clients.messaging import outbox
from clients.messaging.channels.email import SenderIdentity, compose_email
from clients.messaging.models import Consent, Message
from clients.messaging.outbox import queueing
from clients.models import Business, Client
from restorer.local import processes
from tests.bench.timing import time_in_turn
from tests.outbox import outgoing_message

PAIRS = 5
TEXT = (
    "The finish on your deck is due — a clean and a coat keep it from a full strip.\n" * 12
    + "{unsubscribe_url}\n"
)
HTML = "<p>" + TEXT.replace("\n", "<br>\n") + "</p>"
SMTP_PEER = """
import sys, threading
from aiosmtpd.controller import Controller
class Taker:
    async def handle_DATA(self, server, session, envelope):
        return "250 2.0.0 taken"
Controller(Taker(), hostname="127.0.0.1", port=int(sys.argv[1])).start()
threading.Event().wait()
"""


def measure_delivery(messages: int, now: datetime) -> dict[str, float]:
    """Pairs in turn: so many of our queue, then as many by smtplib, composed beforehand."""
    queue_bench_messages(messages * (PAIRS + 1), now)
    composed = compose_bench_messages(messages)
    with smtp_peer() as port:
        settings.EMAIL_HOST = "127.0.0.1"
        settings.EMAIL_PORT = port
        pair = time_in_turn(
            lambda: send_by_outbox(messages), lambda: send_bare(port, composed), times=PAIRS
        )
    return {
        "messages": float(messages),
        "ours_per_s": messages / statistics.median(pair.ours),
        "smtplib_per_s": messages / statistics.median(pair.other),
        "share_of_smtplib": 1 / pair.ratio,
    }


@contextlib.contextmanager
def smtp_peer() -> Iterator[int]:
    """A real SMTP server in a process of its own."""
    port = processes.free_port(2600)
    process = subprocess.Popen([sys.executable, "-c", SMTP_PEER, str(port)])
    try:
        if not processes.wait_for_port("127.0.0.1", port):
            raise OSError("The mail server of the measurement did not start.")
        yield port
    finally:
        process.kill()
        process.wait()


def queue_bench_messages(messages: int, now: datetime) -> None:
    Business.objects.get_or_create(
        id=1, defaults={"name": "Driftline Deck Care", "email": "office@example.com"}
    )
    people = Client.objects.bulk_create([Client(name=f"Bench client {n}") for n in range(messages)])
    consents = [
        Consent(client=person, channel="email", is_given=True, evidence="invented")
        for person in people
    ]
    Consent.objects.bulk_create(consents)
    queueing.store_new_messages(
        [draft_bench_message(consent, now) for consent in consents], by=None, now=now
    )


def draft_bench_message(consent: Consent, now: datetime) -> Message:
    person = consent.client
    return queueing.draft_message(
        Business.objects.get(),
        outgoing_message(
            client=person,
            kind="reminder",
            channel="email",
            address=f"bench{person.pk}@example.org",
            subject="Your deck is due this spring",
            text=TEXT,
            html=HTML,
            key=f"bench/{person.pk}",
            consent=consent,
            basis="express",
        ),
        now=now,
    )


def compose_bench_messages(messages: int) -> list[tuple[str, bytes]]:
    head = SenderIdentity.for_business(Business.objects.get())
    some = Message.objects.filter(idempotency_key__startswith="bench/")[:messages]
    return [(message.address, compose_email(head, message, now=timezone.now())) for message in some]


def send_by_outbox(messages: int) -> None:
    tally = outbox.deliver(limit=messages, deadline_seconds=600)
    if tally.accepted != messages:
        raise RuntimeError(f"Not all were accepted: {tally}")


def send_bare(port: int, composed: list[tuple[str, bytes]]) -> None:
    with smtplib.SMTP("127.0.0.1", port) as smtp:
        for address, content in composed:
            smtp.sendmail("office@example.com", [address], content)
