"""The supervisor with small real processes:
restarts, the watchdog, and an end that leaves nothing behind."""

import os
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from restorer.local import processes
from restorer.local.processes import Child, Supervisor

# A process that has a child of its own in its group, notes both ids, and obeys or ignores SIGTERM.
FAMILY = """
import os, signal, subprocess, sys, time
if sys.argv[2] == "deaf": signal.signal(signal.SIGTERM, signal.SIG_IGN)
inner = subprocess.Popen(["sleep", "300"])
with open(sys.argv[1], "a") as file: file.write(f"{os.getpid()} {inner.pid}\\n")
print("here", flush=True)
time.sleep(300)
"""


@pytest.fixture(autouse=True)
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(processes, "POLL_SECONDS", 0.05)
    monkeypatch.setattr(processes, "CHECK_SECONDS", 0.1)


def family(
    path: Path, manner: str = "obedient", *, name: str = "worker", grace: float = 30
) -> Child:
    return Child(name, [sys.executable, "-c", FAMILY, str(path), manner], grace_seconds=grace)


def notes(path: Path) -> list[list[int]]:
    return (
        [[int(word) for word in line.split()] for line in path.read_text().splitlines()]
        if path.exists()
        else []
    )


def is_alive(pid: int) -> bool:
    try:
        return Path(f"/proc/{pid}/stat").read_text().rsplit(") ", 1)[1][0] != "Z"
    except FileNotFoundError:
        return False


def wait_until(true: Callable[[], bool], seconds: float = 15) -> None:
    end = time.monotonic() + seconds
    while not true():
        assert time.monotonic() < end, "waited too long"
        time.sleep(0.02)


def meanwhile(action: Callable[[], object]) -> threading.Thread:
    """Do something beside the supervisor, then press Ctrl-C whatever came of it."""

    def act() -> None:
        try:
            action()
        finally:
            os.kill(os.getpid(), signal.SIGINT)

    thread = threading.Thread(target=act)
    thread.start()
    return thread


def test_ctrl_c_ends_every_process_and_their_children(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    paths = [tmp_path / "web", tmp_path / "worker"]
    thread = meanwhile(lambda: wait_until(lambda: all(notes(path) for path in paths)))
    Supervisor([family(path, name=path.name) for path in paths]).run()
    thread.join()
    wait_until(lambda: not [pid for path in paths for pid in notes(path)[0] if is_alive(pid)])
    assert "     web │ here" in capsys.readouterr().out


def test_a_process_that_ignores_the_request_is_killed_after_its_grace(tmp_path: Path) -> None:
    thread = meanwhile(lambda: wait_until(lambda: bool(notes(tmp_path / "ids"))))
    Supervisor([family(tmp_path / "ids", "deaf", grace=0.3)]).run()
    thread.join()
    wait_until(lambda: not any(map(is_alive, notes(tmp_path / "ids")[0])))


@pytest.mark.slow  # waits for real processes to end and start
def test_a_second_ctrl_c_does_not_wait_for_the_grace(tmp_path: Path) -> None:
    thread = meanwhile(lambda: wait_until(lambda: bool(notes(tmp_path / "ids"))))
    supervisor = Supervisor([family(tmp_path / "ids", "deaf", grace=60)])
    again = threading.Timer(1.5, os.kill, [os.getpid(), signal.SIGINT])
    again.start()
    began = time.monotonic()
    supervisor.run()
    thread.join()
    again.join()
    assert time.monotonic() - began < 20
    wait_until(lambda: not any(map(is_alive, notes(tmp_path / "ids")[0])))


@pytest.mark.slow  # waits for real processes to end and start
def test_a_killed_process_starts_again_without_what_it_left_behind(tmp_path: Path) -> None:
    path = tmp_path / "ids"

    def kill_once() -> None:
        wait_until(lambda: len(notes(path)) == 1)
        os.kill(notes(path)[0][0], signal.SIGKILL)
        wait_until(lambda: len(notes(path)) == 2)

    thread = meanwhile(kill_once)
    Supervisor([family(path)]).run()
    thread.join()
    assert len(notes(path)) == 2
    wait_until(lambda: not is_alive(notes(path)[0][1]))


def test_a_process_that_keeps_dying_is_tried_ever_more_slowly(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    clock = [1000.0]
    monkeypatch.setattr(processes.time, "monotonic", lambda: clock[0])
    supervisor = Supervisor([])
    child = Child("web", [sys.executable, "-c", "raise SystemExit(3)"])
    waits = []
    for _ in range(7):
        child.start(supervisor.environment)
        child.process.wait()
        supervisor.restart(child)
        waits.append(child.next_start - clock[0])
    assert waits == [1, 2, 4, 8, 16, 30, 30]


@pytest.mark.slow  # waits for real processes to end and start
@pytest.mark.parametrize(("age", "restarts"), [(301.0, True), (None, True), (12.0, False)])
def test_a_worker_without_a_heartbeat_is_killed_whole_and_restarted(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, age: float | None, restarts: bool
) -> None:
    monkeypatch.setattr(Child, "up_seconds", lambda self: 400.0)
    path = tmp_path / "ids"
    asked = []

    def worker_age() -> float | None:
        if not notes(path):
            return 0
        asked.append(1)
        return age if len(asked) == 1 else 0

    seen = (lambda: len(notes(path)) == 2) if restarts else (lambda: len(asked) > 3)
    thread = meanwhile(lambda: wait_until(seen))
    Supervisor([family(path, "deaf", grace=0.2)], worker_age=worker_age).run()
    thread.join()
    assert (len(notes(path)) == 2) is restarts
    wait_until(lambda: not any(map(is_alive, notes(path)[0])))


def test_a_new_worker_is_given_time_for_its_first_beat() -> None:
    child = Child("worker", [], started_at=time.monotonic())
    assert not Supervisor([child], worker_age=lambda: 9999).is_hung(child)


def test_a_heartbeat_that_cannot_be_read_kills_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(Child, "up_seconds", lambda self: 400.0)

    def no_database() -> float:
        raise OSError("the database is away")

    child = Child("worker", [])
    assert not Supervisor([child], worker_age=no_database).is_hung(child)


@pytest.mark.skipif(sys.platform != "linux", reason="the kernel's parent-death signal is Linux's")
def test_a_supervisor_that_is_killed_leaves_no_process_behind(tmp_path: Path) -> None:
    path = tmp_path / "ids"
    code = (
        "import sys; from restorer.local.processes import *; Supervisor([Child('web',"
        " sys.argv[1:])]).run()"
    )
    command = [
        sys.executable,
        "-c",
        code,
        sys.executable,
        "-c",
        "import os, sys, time\n" + FAMILY,
        str(path),
        "obedient",
    ]
    with subprocess.Popen(command, stdout=subprocess.DEVNULL) as supervisor:
        wait_until(lambda: bool(notes(path)))
        supervisor.kill()
    wait_until(lambda: not is_alive(notes(path)[0][0]))
    os.kill(
        notes(path)[0][1], signal.SIGKILL
    )  # this stand-in does not look after its own child; the task worker does


def test_a_taken_port_gives_way_to_the_next_free_one() -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        assert port < processes.free_port(port) < port + 100
