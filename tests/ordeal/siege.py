"""The ordeal of several hosts: all that dies on a bad day dies, while people change their minds.

Each host is a network namespace with pages, task worker and deliverers; they share two PostgreSQL
servers behind a pooler. Killed are single processes, whole hosts (as a power cut does, so that the
other side never hears of it), the database server and, once, the server for good; cables are
pulled; one minute no disk has room. Meanwhile people take back what they sent, and clients
unsubscribe by the link in their message, on whichever host answers.
"""

import contextlib
import http.client
import random
import sys
import time
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import timedelta
from pathlib import Path
from typing import Any, ClassVar, TypeVar

from django.db import Error, connections
from django.db.models import Q
from django.utils import timezone

from clients.messaging.message_keys import unsubscribe_token
from clients.messaging.models import Message
from clients.messaging.models.message import State
from clients.models import Business
from tests.ordeal.cluster import POOLER_PORT, Cluster
from tests.ordeal.hosts import GATEWAY, PORT, Host
from tests.ordeal.ordeal import COUNTS, IN_HAND_STATES, Ordeal

Answer = TypeVar("Answer")
PATIENCE_SECONDS = 300
FULL_DISK_SECONDS = 60
IDLE_SECONDS = 20  # a process needs some to start
GRACE_SECONDS = 0.1  # what left so shortly after a no had been on its way
POWER_CUT, CABLE = 0.04, 0.08  # share of the kills
COLUMNS = [
    *("hosts", "messages", "kills", "killed", "crashes", "failovers", "full_disk_seconds"),
    *COUNTS,
    "unsubscribed",
    "unsubscribed_unsent",
    "sent_after_no",
    "held_up_by_a_cable",
    "unanswered",
    "seconds",
]


@dataclass
class Siege(Ordeal):
    cluster: Cluster = field(default_factory=lambda: Cluster(Path()))
    host_count: int = 2
    full_disk_seconds: float = FULL_DISK_SECONDS
    hosts: list[Host] = field(default_factory=list)
    killed: Counter[str] = field(default_factory=Counter)
    pressed: set[str] = field(default_factory=set)  # Message-IDs, whether an answer came or not
    said_no_at: dict[str, float] = field(default_factory=dict)  # by Message-ID, Unix time
    cut_from: dict[str, list[float]] = field(default_factory=dict)  # when, by a host's address
    peer_host: ClassVar = GATEWAY
    say: Callable[[str], object] = sys.stderr.write

    def queue(self) -> None:
        """What no person pressed waits until the siege lets it go."""
        super().queue()
        later = timezone.now() + timedelta(days=30)
        Message.objects.filter(sending=None).update(not_before=later)

    def kill_senders(self) -> None:
        chance = random.Random(self.seed)
        with self.plugged_in():
            for number in range(self.kills):
                patiently(lambda: self.release(1 / (self.kills - number)))  # noqa: B023 at once
                self.wait_for_progress(chance)
                patiently(self.take_one_back)
                self.unsubscribe_one(chance)
                self.strike(number, chance)
                for host in self.hosts:
                    host.ensure_running()
                self.say(f"\rblow {number + 1} of {self.kills}, {self.taken()} taken ")
            self.say("\nended in good order; what is left goes out in peace\n")
            for host in self.hosts:
                host.terminate()

    def taken(self) -> int:
        return len(self.log.read_text().splitlines())

    @contextlib.contextmanager
    def plugged_in(self) -> Iterator[None]:
        at = f"postgresql://restorer@{GATEWAY}:{POOLER_PORT}"
        addresses = {"DATABASE_URL": f"{at}/restorer", "POOLED_URL": f"{at}/pooled"}
        environment = self.environment | addresses | self.sender_settings()
        self.hosts = [
            Host(number, self.directory, environment) for number in range(self.host_count)
        ]
        try:
            for host in self.hosts:
                host.plug_in()
                host.ensure_running()
            yield
        finally:
            for host in self.hosts:
                host.remove()

    def release(self, share: float) -> None:
        waiting = Message.objects.filter(
            state=State.QUEUED, not_before__gt=timezone.now() + timedelta(days=1)
        )
        some = list(waiting.values_list("pk", flat=True)[: round(waiting.count() * share) or 1])
        Message.objects.filter(pk__in=some).update(not_before=timezone.now())

    def wait_for_progress(self, chance: random.Random) -> None:
        """Somebody is in the middle of something, or nobody has been for a while."""
        size = self.log.stat().st_size
        until = time.monotonic() + IDLE_SECONDS
        while self.log.stat().st_size == size and time.monotonic() < until:
            time.sleep(0.01)
        time.sleep(chance.uniform(0, 0.2))

    def strike(self, number: int, chance: random.Random) -> None:
        """What dies this time."""
        if number in {self.kills // 6, self.kills * 5 // 6}:
            self.killed["PostgreSQL"] += 1
            return self.cluster.crash()
        if number == self.kills // 3:
            return self.fill_the_disk(chance)
        if number == self.kills * 2 // 3:
            self.killed["PostgreSQL for good"] += 1
            return self.cluster.fail_over()
        host, roll = chance.choice(self.hosts), chance.random()
        if roll < POWER_CUT:
            self.killed["host"] += 1
            self.cut_power(host)
        elif roll < POWER_CUT + CABLE:
            self.killed["cable"] += 1
            self.pull_cable(host, chance)
        else:
            self.killed[host.kill_one(chance)] += 1

    def fill_the_disk(self, chance: random.Random) -> None:
        """Processes go on dying meanwhile."""
        until = time.monotonic() + self.full_disk_seconds
        with self.cluster.full_disk():
            while time.monotonic() < until:
                host = chance.choice(self.hosts)
                self.killed[host.kill_one(chance)] += 1
                host.ensure_running()
                time.sleep(chance.uniform(1, 5))

    def cut_power(self, host: Host) -> None:
        """The cable first: nobody is told that its connections have ended."""
        host.cut()
        self.cut_from.setdefault(host.address, []).append(time.time())
        host.remove()
        host.running = {}
        host.plug_in()

    def pull_cable(self, host: Host, chance: random.Random) -> None:
        host.cut()
        self.cut_from.setdefault(host.address, []).append(time.time())
        time.sleep(chance.uniform(0.5, 6))
        host.mend()

    def unsubscribe_one(self, chance: random.Random) -> None:
        """Of one that is just being sent, or soon: its link is pressed on any host that answers."""
        found: list[Message] = patiently(lambda: list(self.soon_sent()))
        business = patiently(Business.current)
        if not found or not business:
            return
        message = chance.choice(found)
        self.pressed.add(message.message_id)
        path = f"/u/{unsubscribe_token(business, message.idempotency_key)}/"
        if any(says_ok(host, path) for host in chance.sample(self.hosts, len(self.hosts))):
            self.said_no_at[message.message_id] = time.time()

    def soon_sent(self) -> Any:
        may_go = Q(state=State.QUEUED, not_before__lte=timezone.now())
        may_go |= Q(state__in=IN_HAND_STATES)
        return Message.objects.filter(may_go, sending=None).order_by("pk")[:40]

    def result_row(self) -> dict[str, object]:
        late = self.taken_after_no()
        held_up = sum(map(self.was_cut_before, late))
        row = super().result_row() | {
            "hosts": self.host_count,
            "killed": dict(self.killed),
            "crashes": self.killed["PostgreSQL"],
            "failovers": self.killed["PostgreSQL for good"],
            "full_disk_seconds": self.full_disk_seconds,
            "unsubscribed": len(self.said_no_at),
            "unsubscribed_unsent": len(self.withdrawn()),
            "unanswered": len(self.pressed) - len(self.said_no_at),
            "sent_after_no": len(late) - held_up,
            "held_up_by_a_cable": held_up,
        }
        return {name: row[name] for name in COLUMNS if name in row}

    def withdrawn(self) -> set[str]:
        """Cancelled because the client said no in time."""
        rows = Message.objects.filter(message_id__in=self.pressed, state=State.CANCELLED)
        return set(rows.values_list("message_id", flat=True))

    def taken_after_no(self) -> list[list[str]]:
        """Lines of the peer's log: Message-ID, recipient, time, sender."""
        lines = [line.split() for line in self.log.read_text().splitlines()]
        return [
            line
            for line in lines
            if float(line[2]) > self.said_no_at.get(line[0], float("inf")) + GRACE_SECONDS
        ]

    def was_cut_before(self, line: list[str]) -> bool:
        """The network held the message after it had left, and brought it when it could again."""
        taken = float(line[2])
        return any(0 < taken - cut < 20 for cut in self.cut_from.get(line[3], []))


def says_ok(host: Host, path: str) -> bool:
    """One press, by the POST that mail programs send (RFC 8058)."""
    line = http.client.HTTPConnection(host.address, PORT, timeout=5)
    head = {"Host": "decks.example.com", "Content-Type": "application/x-www-form-urlencoded"}
    try:
        line.request("POST", path, "List-Unsubscribe=One-Click", head)
        return line.getresponse().status == 200
    except (OSError, http.client.HTTPException):
        return False
    finally:
        line.close()


def patiently(act: Callable[[], Answer]) -> Answer:
    """Again until the database is there."""
    until = time.monotonic() + PATIENCE_SECONDS
    while True:
        try:
            return act()
        except Error:
            connections.close_all()
            if time.monotonic() > until:
                raise
            time.sleep(0.2)
