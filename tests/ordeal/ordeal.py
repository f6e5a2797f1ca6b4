"""The ordeal: senders are killed and the database goes away, while a rude mail server keeps the
true count."""

import contextlib
import os
import random
import re
import signal
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from typing import ClassVar

from django.db import Error, connection, connections
from django.utils import timezone

from clients.messaging import outbox
from clients.messaging.models import Consent, Message, Sending
from clients.messaging.models.message import State
from clients.messaging.outbox import queueing
from clients.models import Business, Client, User
from restorer.local import processes
from tests.outbox import outgoing_message

TEXT = "The finish on your deck is due.\n\nTo stop these messages: {unsubscribe_url}\n"
MAX_STANDSTILL_SECONDS = 300
HELD_HOURS = 1
SENDING_SIZE = 4  # messages of one press, which a person takes back at a kill
TAKEN_BACK_ID = re.compile(r"<taken-back-[0-9]+\.(.+)")
IN_HAND_STATES = [State.CLAIMED, State.TRANSMITTING]
COUNTS = [
    "accepted",
    "unconfirmed",
    "failed",
    "unconfirmed_but_taken",
    "accepted_twice",
    "lost",
    "taken_unrecorded",
    "taken_back",
    "taken_back_and_sent",
]
COLUMNS = ["messages", "senders", "kills", "outages", *COUNTS, "seconds"]


@dataclass
class Ordeal:
    """So many messages and senders, killed so often, with so many outages of the database."""

    directory: Path
    environment: dict[str, str]
    outage: Callable[[], None]
    messages: int = 2000
    senders: int = 4
    kills: int = 100
    outages: int = 2
    seed: int = 1
    latest_seconds: float = 0.25  # the mail server's slowest answer
    running: list[subprocess.Popen[bytes]] = field(default_factory=list)
    channel: ClassVar = "email"
    first_port: ClassVar = 2800
    peer_host: ClassVar = "127.0.0.1"

    def run(self) -> dict[str, object]:
        """The table: accepted_twice, lost, taken_unrecorded and taken_back_and_sent must be 0."""
        began = time.monotonic()
        self.queue()
        with self.peer():
            self.kill_senders()
            self.terminate_senders()
            self.drain_queue()
        return self.result_row() | {"seconds": round(time.monotonic() - began)}

    @property
    def log(self) -> Path:
        return self.directory / "taken.log"

    def queue(self) -> None:
        business, _ = Business.objects.get_or_create(
            id=1, defaults={"name": "Driftline Deck Care", "email": "office@example.com"}
        )
        now = timezone.now()
        people = Client.objects.bulk_create(
            [Client(name=f"Ordeal client {n}") for n in range(self.messages)]
        )
        consents = Consent.objects.bulk_create(
            [
                Consent(client=person, channel=self.channel, is_given=True, evidence="invented")
                for person in people
            ]
        )
        drafts = [
            queueing.draft_message(
                business,
                outgoing_message(
                    client=each.client,
                    channel=self.channel,
                    key=f"ordeal/{number}",
                    consent=each,
                    basis="express",
                    sending=self.sending_of(number, now),
                    **self.message_fields(number),
                ),
                now=now,
            )
            for number, each in enumerate(consents)
        ]
        queueing.store_new_messages(drafts, by=None, now=now)

    def sending_of(self, number: int, now: datetime) -> Sending | None:
        """The first few messages were sent by a person, four with a press: every other press is
        still held when it is taken back, and with the rest the senders are faster or not."""
        press = number // SENDING_SIZE
        if press >= self.kills:
            return None
        person, _ = User.objects.get_or_create(username="ordeal")
        held_until = now + timedelta(hours=HELD_HOURS) if press % 2 else now
        at = now - timedelta(seconds=press)
        values = {"held_until": held_until}
        return Sending.objects.get_or_create(by=person, at=at, defaults=values)[0]

    def take_one_back(self) -> None:
        """A person changes their mind, at any moment of the senders' work."""
        sending = Sending.objects.filter(taken_back_at=None).order_by("at").first()
        if sending:
            outbox.take_back_sending(sending=sending, by=sending.by, now=timezone.now())

    def message_fields(self, number: int) -> dict[str, str]:
        """What the message of that number is, where it goes and what it says."""
        address = f"o{number}@example.org"
        return {"kind": "reminder", "address": address, "subject": "Your deck is due", "text": TEXT}

    @contextlib.contextmanager
    def peer(self) -> Iterator[None]:
        self.port = processes.free_port(self.first_port, self.peer_host)
        self.log.touch()
        process = self.start(*self.peer_arguments())
        try:
            if not processes.wait_for_port(self.peer_host, self.port, seconds=90):
                raise OSError("What the ordeal sends to did not start.")
            yield
        finally:
            self.kill_all()
            process.kill()
            process.wait()

    def peer_arguments(self) -> list[str]:
        return [
            "-m",
            "tests.ordeal.faulty_mail_server",
            *map(str, (self.port, self.log, self.seed, self.latest_seconds, self.peer_host)),
        ]

    def sender_settings(self) -> dict[str, str]:
        return {"EMAIL_HOST": self.peer_host, "EMAIL_PORT": str(self.port), "EMAIL_TIMEOUT": "5"}

    def start_sender(self) -> subprocess.Popen[bytes]:
        return self.start(
            processes.MANAGE_PY, "deliver", LOG_LEVEL="CRITICAL", **self.sender_settings()
        )

    def start(self, *words: str, **settings: str) -> subprocess.Popen[bytes]:
        environment = os.environ | self.environment | settings
        directory = Path(processes.MANAGE_PY).parent
        command = [sys.executable, *words]
        return subprocess.Popen(command, cwd=directory, env=environment, stdout=subprocess.DEVNULL)

    def kill_senders(self) -> None:
        """Kill a sender at a random moment and start another, until all kills are spent."""
        chance = random.Random(self.seed)
        outages = {self.kills * (place + 1) // (self.outages + 1) for place in range(self.outages)}
        self.running = [self.start_sender() for _ in range(self.senders)]
        for kill in range(self.kills):
            self.wait_for_progress(chance)
            self.take_one_back()
            victim = self.running.pop(chance.randrange(len(self.running)))
            victim.send_signal(signal.SIGKILL)
            victim.wait()
            self.running.append(self.start_sender())
            if kill in outages:
                connections.close_all()
                self.outage()

    def wait_for_progress(self, chance: random.Random) -> None:
        """Somebody is in the middle of something: the log has grown since the last kill."""
        size = self.log.stat().st_size
        until = time.monotonic() + 10
        while (
            self.log.stat().st_size == size
            and time.monotonic() < until
            and Message.objects.open().exists()
        ):
            time.sleep(0.01)
        time.sleep(chance.uniform(0, 0.2))

    def terminate_senders(self) -> None:
        """SIGTERM, as a service manager sends it; each finishes the message in hand."""
        for sender in self.running:
            sender.terminate()
        for sender in self.running:
            sender.wait(timeout=60)
        self.running = []

    def kill_all(self) -> None:
        for sender in self.running:
            sender.kill()
            sender.wait()
        self.running = []

    def drain_queue(self) -> None:
        """No sender lives: time passes for the leases and pauses they left, and one more sends the
        rest in peace."""
        while Message.objects.open().exists():
            Message.objects.filter(state__in=IN_HAND_STATES).update(lease_until=timezone.now())
            Message.objects.filter(state=State.QUEUED).update(not_before=timezone.now())
            outbox.sweep()
            sender = self.start_sender()
            self.running = [sender]
            self.wait_until_nothing_is_due()
            self.terminate_senders()

    def wait_until_nothing_is_due(self) -> None:
        left, since = -1, time.monotonic()
        while count := self.due_or_in_hand():
            if count != left:
                left, since = count, time.monotonic()
            if time.monotonic() > since + MAX_STANDSTILL_SECONDS:
                raise TimeoutError("The last sender does not get on.")
            time.sleep(0.2)

    def due_or_in_hand(self) -> int:
        in_hand = Message.objects.filter(state__in=IN_HAND_STATES)
        return Message.objects.due(self.channel).count() + in_hand.count()

    def taken_counts(self) -> Counter[str]:
        """How often each Message-ID was taken."""
        return Counter(line.split()[0] for line in self.log.read_text().splitlines())

    def withdrawn(self) -> set[str]:
        """Message-IDs that may rightly stay unsent: nobody unsubscribes in the small ordeal."""
        return set()

    def result_row(self) -> dict[str, object]:
        taken = self.taken_counts()
        rows = dict(Message.objects.values_list("message_id", "state"))
        taken_back = {f"<{found[1]}" for each in rows if (found := TAKEN_BACK_ID.match(each))}
        rows = {each: state for each, state in rows.items() if not TAKEN_BACK_ID.match(each)}
        for each in self.withdrawn() - taken.keys():
            del rows[each]
        states = Counter(rows.values())
        known = {State.ACCEPTED, State.UNCONFIRMED}
        return {
            "messages": self.messages,
            "senders": self.senders,
            "kills": self.kills,
            "outages": self.outages,
            "accepted": states[State.ACCEPTED],
            "unconfirmed": states[State.UNCONFIRMED],
            "failed": states[State.FAILED],
            "unconfirmed_but_taken": sum(rows[each] == State.UNCONFIRMED for each in taken),
            "accepted_twice": sum(count > 1 for count in taken.values()),
            "lost": sum(is_lost(state, each in taken) for each, state in rows.items()),
            "taken_unrecorded": sum(rows.get(each) not in known for each in taken),
            "taken_back": len(taken_back),
            "taken_back_and_sent": len(taken_back & taken.keys()),
        }


def is_lost(state: str, was_taken: bool) -> bool:
    """Said to be sent and never taken, or neither sent nor before a person."""
    return (
        not was_taken if state == State.ACCEPTED else state not in {State.UNCONFIRMED, State.FAILED}
    )


def cut_connections() -> None:
    """What a restart of the server does to everybody, where the server is not ours to restart."""
    with contextlib.suppress(Error), connection.cursor() as cursor:
        cursor.execute(
            "SELECT pg_terminate_backend(pid) FROM pg_stat_activity"
            " WHERE datname = current_database() AND pid <> pg_backend_pid()"
        )
