"""Hosts of the ordeal: each a network namespace with a cable to one bridge, and the processes of a
host in it: pages, task worker, two deliverers of which one has a wrong clock.

Needs root and iproute2; wrong clocks need libfaketime, without which they are right.
"""

import contextlib
import os
import random
import signal
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from django.core.management.base import CommandError

from restorer.local import processes

BRIDGE = "ordeal0"
NETWORK = "198.51.100"  # for examples (RFC 5737)
GATEWAY = f"{NETWORK}.1"  # this machine, where PostgreSQL and the mail server are
PORT = 8000
WRONG_CLOCKS = ("+3h", "-2h", "-1d", "+40d")
FAKE_CLOCK = sorted(Path("/usr/lib").glob("*/faketime/libfaketime.so.1"))


@contextlib.contextmanager
def bridge() -> Iterator[None]:
    """What all cables lead to."""
    known = subprocess.run(["ip", "-4", "-o", "addr"], capture_output=True, text=True, check=True)
    if f" {NETWORK}." in known.stdout:
        raise CommandError(f"This machine is in the network {NETWORK}.0/24 already.")
    run("ip", "link", "add", BRIDGE, "type", "bridge")
    try:
        run("ip", "addr", "add", f"{GATEWAY}/24", "dev", BRIDGE)
        run("ip", "link", "set", BRIDGE, "up")
        yield
    finally:
        run("ip", "link", "delete", BRIDGE)


@dataclass
class Host:
    number: int
    directory: Path
    environment: dict[str, str]
    running: dict[str, subprocess.Popen[bytes]] = field(default_factory=dict)

    @property
    def name(self) -> str:
        return f"ordeal-{self.number}"

    @property
    def cable(self) -> str:
        return f"ordeal-c{self.number}"

    @property
    def address(self) -> str:
        return f"{NETWORK}.{10 + self.number}"

    @property
    def url(self) -> str:
        return f"http://{self.address}:{PORT}"

    def plug_in(self) -> None:
        """With the styles and scripts of this machine: without them no page of a client is made."""
        home = self.directory / self.name
        home.mkdir(exist_ok=True)
        with contextlib.suppress(FileExistsError):
            (home / "static").symlink_to(self.directory / "static")
        inside = ("ip", "-n", self.name)
        run("ip", "netns", "add", self.name)
        run("ip", "link", "add", self.cable, "type", "veth", "peer", "eth0", "netns", self.name)
        run("ip", "link", "set", self.cable, "master", BRIDGE, "up")
        run(*inside, "addr", "add", f"{self.address}/24", "dev", "eth0")
        run(*inside, "link", "set", "eth0", "up")
        run(*inside, "link", "set", "lo", "up")

    def remove(self) -> None:
        """The cable goes by itself first: the kernel takes a dead network apart when it likes."""
        self.kill_all()
        subprocess.run(["ip", "link", "delete", self.cable], check=False)
        subprocess.run(["ip", "netns", "delete", self.name], check=False)

    def cut(self) -> None:
        run("ip", "link", "set", self.cable, "down")

    def mend(self) -> None:
        run("ip", "link", "set", self.cable, "up")

    def ensure_running(self) -> None:
        """What a service manager does."""
        wrong = WRONG_CLOCKS[self.number % len(WRONG_CLOCKS)]
        pooled = {"POOLED_DATABASE": "1", "DATABASE_URL": self.environment["POOLED_URL"]}
        self.ensure("pages", "listen", f"--bind={self.address}", f"--port={PORT}", **pooled)
        self.ensure("worker", "work")
        self.ensure("deliverer", "deliver")
        self.ensure("deliverer with a wrong clock", "deliver", **wrong_clock(wrong))

    def ensure(self, kind: str, *words: str, **settings: str) -> None:
        there = self.running.get(kind)
        if there and there.poll() is None:
            return
        own = {"RESTORER_VAR": str(self.directory / self.name), "PYTHONUNBUFFERED": "1"}
        with (self.directory / f"{self.name}.log").open("ab") as log:
            self.running[kind] = subprocess.Popen(
                ["ip", "netns", "exec", self.name, sys.executable, processes.MANAGE_PY, *words],
                cwd=processes.PROJECT_DIR,
                env=os.environ | self.environment | own | settings,
                stdout=log,
                stderr=log,
                stdin=subprocess.DEVNULL,
            )

    def kill_one(self, chance: random.Random) -> str:
        """Any process of this host, a supervisor or one of its children; says what it was."""
        there = self.processes()
        if not there:
            return "nothing"
        victim = chance.choice(there)
        kind = kind_of(victim)
        with contextlib.suppress(ProcessLookupError):
            os.kill(victim, signal.SIGKILL)
        return kind

    def kill_all(self) -> None:
        """As a power cut does."""
        while there := self.processes():
            for each in there:
                with contextlib.suppress(ProcessLookupError):
                    os.kill(each, signal.SIGKILL)
            for process in self.running.values():
                process.wait()

    def terminate(self) -> None:
        for process in self.running.values():
            process.terminate()
        for process in self.running.values():
            with contextlib.suppress(subprocess.TimeoutExpired):
                process.wait(timeout=60)

    def processes(self) -> list[int]:
        said = subprocess.run(
            ["ip", "netns", "pids", self.name], capture_output=True, text=True, check=False
        )
        return [int(word) for word in said.stdout.split()]


def wrong_clock(by: str) -> dict[str, str]:
    return {"LD_PRELOAD": str(FAKE_CLOCK[0]), "FAKETIME": by} if FAKE_CLOCK else {}


def kind_of(process: int) -> str:
    try:
        words = Path(f"/proc/{process}/cmdline").read_bytes().decode(errors="replace").split("\0")
    except OSError:
        return "gone"
    known = ("deliver", "work", "listen", "qcluster", "restorer.local.web_server")
    return next((kind for kind in known if kind in words), "other")


def run(*words: str) -> None:
    subprocess.run(words, check=True)
