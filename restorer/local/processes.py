"""Runs the processes of one machine side by side (web server, task worker, deliverer), restarts
them, ends them all."""

import contextlib
import http.client
import os
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO, Any

# a worker that has not beaten for this long hangs, however alive its processes look
STALE_SECONDS = 300
POLL_SECONDS = 0.5
CHECK_SECONDS = 10
MAX_RESTART_WAIT = 30  # between two tries to restart a process that keeps dying
HEALTHY_SECONDS = 60  # after this long a process counts as well again
WEB_PROCESSES = 2
BACKLOG = 512  # connections that wait in the kernel while no web process takes them
PROJECT_DIR = str(Path(__file__).resolve().parent.parent.parent)
MANAGE_PY = str(Path(PROJECT_DIR) / "manage.py")
DIE_WITH_PARENT = str(Path(__file__).with_name("die_with_parent.py"))


@dataclass
class Child:
    """One process kept running, in a process group of its own."""

    name: str
    command: Sequence[str]
    grace_seconds: float = 30
    pass_fds: tuple[int, ...] = ()
    directory: str | None = None
    process: subprocess.Popen[str] | None = None
    started_at: float = 0
    failures: int = 0
    next_start: float = 0
    relay: threading.Thread | None = field(default=None, repr=False)

    def start(self, environment: dict[str, str]) -> None:
        self.process = subprocess.Popen(
            ended_with_us(self.command),
            env=environment,
            cwd=self.directory,
            pass_fds=self.pass_fds,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            errors="replace",
            # a Ctrl-C of the terminal reaches us alone; we end the others in the right way
            start_new_session=True,
        )
        self.started_at = time.monotonic()
        self.relay = threading.Thread(
            target=relay_lines, args=(self.name, self.process.stdout), daemon=True
        )
        self.relay.start()

    def is_running(self) -> bool:
        return self.process is not None and self.process.poll() is None

    def request_stop(self) -> None:
        """SIGTERM to the main process only: the task worker hangs when all its processes get one
        (django-q2 1.11)."""
        if self.process and self.is_running():
            self.process.terminate()

    def kill_group(self) -> None:
        """Kill what is left of the group; the worker's own children outlive a main process that was
        killed."""
        if self.process:
            with contextlib.suppress(ProcessLookupError, PermissionError):
                os.killpg(self.process.pid, signal.SIGKILL)
            self.process.wait()
            if self.relay:
                self.relay.join(timeout=2)

    def up_seconds(self) -> float:
        return time.monotonic() - self.started_at


class Supervisor:
    """Keeps the children running until SIGINT or SIGTERM, then ends them in order."""

    def __init__(
        self,
        children: Sequence[Child],
        *,
        environment: dict[str, str] | None = None,
        worker_age: Callable[[], float | None] | None = None,
        on_check: Callable[[], object] | None = None,
    ) -> None:
        self.children = list(children)
        self.environment = {**os.environ, "PYTHONUNBUFFERED": "1", **(environment or {})}
        self.worker_age = worker_age
        self.on_check = on_check
        self.stopping = threading.Event()
        self.signals = 0
        self.next_check = time.monotonic() + CHECK_SECONDS

    def run(self, ready: Callable[[], object] | None = None) -> None:
        """Start everything, let `ready` wait for it in a thread, and return when everything has
        ended."""
        before = {
            number: signal.signal(number, self.on_signal)
            for number in (signal.SIGINT, signal.SIGTERM)
        }
        try:
            for child in self.children:
                child.start(self.environment)
            if ready:
                threading.Thread(target=ready, daemon=True).start()
            while not self.stopping.wait(POLL_SECONDS):
                self.poll()
        finally:
            self.stop()
            for number, handler in before.items():
                signal.signal(number, handler)

    def on_signal(self, number: int, frame: Any) -> None:
        self.signals += 1
        self.stopping.set()

    def poll(self) -> None:
        for child in self.children:
            if not child.is_running():
                self.restart(child)
        if time.monotonic() >= self.next_check:
            self.next_check = time.monotonic() + CHECK_SECONDS
            self.check()

    def restart(self, child: Child) -> None:
        """Restart a dead child, later and later while it keeps dying."""
        now = time.monotonic()
        if child.process is not None:
            code = child.process.returncode
            child.kill_group()
            child.process = None
            child.failures = 1 if now - child.started_at > HEALTHY_SECONDS else child.failures + 1
            wait = min(2 ** (child.failures - 1), MAX_RESTART_WAIT)
            child.next_start = now + wait
            write_process_line(
                "keeper", f"{child.name} ended (code {code}); it starts again in {wait} s"
            )
        elif now >= child.next_start:
            child.start(self.environment)

    def check(self) -> None:
        """What need not be looked at every half second:
        the database, and the worker's heartbeat."""
        if self.on_check:
            try:
                self.on_check()
            except Exception as error:  # the keeper must outlive whatever it looks after
                write_process_line("keeper", f"{error}")
        worker = next((child for child in self.children if child.name == "worker"), None)
        if worker and worker.is_running() and self.is_hung(worker):
            write_process_line(
                "keeper",
                f"no heartbeat of the worker for {STALE_SECONDS // 60} minutes; it is restarted",
            )
            worker.kill_group()

    def is_hung(self, worker: Child) -> bool:
        """The age of the last beat counts from the start of this worker, so a new one has its
        chance."""
        if self.worker_age is None or worker.up_seconds() < STALE_SECONDS:
            return False
        try:
            age = self.worker_age()
        except Exception as error:  # no database, no verdict
            write_process_line("keeper", f"the heartbeat cannot be read: {error}")
            return False
        return age is None or age > STALE_SECONDS

    def stop(self) -> None:
        """Ask all, wait for each, kill what stays; a second signal kills at once."""
        asked = self.signals
        for child in self.children:
            child.request_stop()
        began = time.monotonic()
        told = False
        while any(child.is_running() for child in self.children) and self.signals <= max(asked, 1):
            waited = time.monotonic() - began
            if waited > 3 and not told:
                told = True
                write_process_line(
                    "keeper",
                    "waiting for the work in hand to end (Ctrl-C again cuts it short; nothing is"
                    " lost)",
                )
            if all(waited > child.grace_seconds for child in self.children if child.is_running()):
                break
            time.sleep(0.05)
        for child in self.children:
            child.kill_group()


def ended_with_us(command: Sequence[str]) -> list[str]:
    """The command under a program that the kernel ends with us, where the kernel can."""
    if sys.platform != "linux" or not command:
        return list(command)
    return [sys.executable, "-I", DIE_WITH_PARENT, str(os.getpid()), *command]


def relay_lines(name: str, stream: IO[str]) -> None:
    with stream:
        for line in stream:
            write_process_line(name, line.rstrip("\n"))


def write_process_line(name: str, text: str) -> None:
    with contextlib.suppress(BrokenPipeError, ValueError):
        sys.stdout.write(f"{name:>8} │ {text}\n")
        sys.stdout.flush()


def web_processes(listener: socket.socket) -> list[Child]:
    """Those that answer browsers, all from one listening socket: what one of them does not take
    the other does, and while one starts again nobody is turned away."""
    command = [sys.executable, "-m", "restorer.local.web_server", str(listener.fileno())]
    return [
        Child("web", command, pass_fds=(listener.fileno(),), directory=PROJECT_DIR)
        for _ in range(WEB_PROCESSES)
    ]


def worker_process() -> Child:
    return Child("worker", [sys.executable, MANAGE_PY, "qcluster"], grace_seconds=60)


def deliverer_process() -> Child:
    return Child("deliver", [sys.executable, MANAGE_PY, "deliver"])


def host_and_port(host: str, port: int) -> str:
    return f"[{host}]:{port}" if ":" in host else f"{host}:{port}"


def listen_on(host: str, port: int) -> socket.socket:
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    return socket.create_server((host, port), family=family, backlog=BACKLOG)


def listen_at(host: str, wanted: int) -> socket.socket:
    """A listening socket at the wanted port, else at the next one that nobody uses."""
    for port in range(wanted, wanted + 100):
        with contextlib.suppress(OSError):
            return listen_on(host, port)
    raise OSError(f"No free port between {wanted} and {wanted + 99} on {host}.")


def wait_for_answer(host: str, port: int, seconds: float = 60) -> bool:
    """Wait until a web process answers there, whatever it says."""
    until = time.monotonic() + seconds
    while time.monotonic() < until:
        connection = http.client.HTTPConnection(host, port, timeout=seconds)
        with (
            contextlib.suppress(OSError, http.client.HTTPException),
            contextlib.closing(connection),
        ):
            connection.request("HEAD", "/health/")
            connection.getresponse()
            return True
        time.sleep(0.1)
    return False


def free_port(wanted: int, host: str = "127.0.0.1") -> int:
    """The wanted port, else the next one that nobody uses."""
    with listen_at(host, wanted) as trial:
        return int(trial.getsockname()[1])


def wait_for_port(host: str, port: int, seconds: float = 30) -> bool:
    """Wait until something listens there."""
    until = time.monotonic() + seconds
    while time.monotonic() < until:
        with contextlib.suppress(OSError), socket.create_connection((host, port), timeout=1):
            return True
        time.sleep(0.1)
    return False
