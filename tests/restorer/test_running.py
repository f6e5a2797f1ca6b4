"""The unit and container files: what they start exists, stops cleanly, and is stopped in the way
that it needs.

Meaning of the settings: systemd.service(5), systemd.kill(5); the Dockerfile reference, CMD in exec
form (from memory).
"""

import json
import os
import re
import shlex
import shutil
import signal
import subprocess
import sys
import time
from configparser import ConfigParser
from pathlib import Path

import pytest
from django.core.management import get_commands

from clients.models import Heartbeat
from restorer.local import processes
from tests import database

TOP = Path(processes.MANAGE_PY).parent
RUNNING = TOP / "docs" / "running"
UNITS = sorted(RUNNING.glob("*.service"))
LASTING = ["web", "worker", "deliver"]
EVERYWHERE = "0.0.0.0"  # noqa: S104 only compared with
PYTHON = "/opt/restorer/.venv/bin/python"


def unit(path: Path) -> ConfigParser:
    parser = ConfigParser(interpolation=None)
    # Names of systemd keep their capitals.
    parser.optionxform = str  # type: ignore[assignment,method-assign]
    parser.read_string(path.read_text())
    return parser


def command_of(name: str) -> list[str]:
    return shlex.split(unit(RUNNING / f"restorer-{name}.service")["Service"]["ExecStart"])


def exec_forms() -> dict[str, list[str]]:
    """Commands of the container files, which are lists in JSON."""
    image = re.search(r"^CMD (\[.*\])$", (RUNNING / "Containerfile").read_text(), re.MULTILINE)
    services = r"^  (\w+):\n    <<: \*program\n    command: (\[.*\])$"
    compose = re.findall(services, (RUNNING / "compose.yaml").read_text(), re.MULTILINE)
    assert image is not None
    return {"web": json.loads(image[1])} | {name: json.loads(command) for name, command in compose}


def test_what_the_units_and_containers_start_is_there_and_the_same() -> None:
    assert [path.stem for path in UNITS] == [
        f"restorer-{name}" for name in ("deliver", "prepare", "web", "worker")
    ]
    forms = exec_forms()
    assert set(forms) == {"web", "prepare", "worker", "deliver"}
    for name, form in forms.items():
        program, *rest = command_of(name)
        assert program == PYTHON
        assert [word.replace(EVERYWHERE, "127.0.0.1") for word in form] == ["python", *rest]
        if rest[0] == "manage.py":
            assert rest[1] in get_commands()


@pytest.mark.parametrize("name", LASTING)
def test_only_the_main_process_is_asked_to_stop_and_is_given_time(name: str) -> None:
    service = unit(RUNNING / f"restorer-{name}.service")["Service"]
    seconds = int(service["TimeoutStopSec"])
    assert (service["KillMode"], service["Restart"]) == ("mixed", "always")
    assert (
        seconds
        > {"web": 20, "worker": processes.worker_process().grace_seconds, "deliver": 60}[name]
    )
    assert re.search(
        rf"^  {name}:\n(    .*\n)*?    stop_grace_period: {seconds}s$",
        (RUNNING / "compose.yaml").read_text(),
        re.MULTILINE,
    )


@pytest.mark.skipif(not shutil.which("systemd-analyze"), reason="systemd is not on this machine")
def test_systemd_finds_no_fault_in_the_units(tmp_path: Path) -> None:
    """With the paths of this machine in place of those of a server, since it looks whether the
    program is there."""
    for path in UNITS:
        here = path.read_text().replace(PYTHON, sys.executable).replace("/opt/restorer", str(TOP))
        (tmp_path / path.name).write_text(here.replace("User=restorer", "User=root"))
    names = [str(tmp_path / path.name) for path in UNITS]
    done = subprocess.run(
        ["systemd-analyze", "verify", *names], capture_output=True, text=True, timeout=60
    )
    ours = [line for line in done.stderr.splitlines() if "restorer-" in line]
    assert (done.returncode, ours) == (0, [])


def environment(tmp_path: Path) -> dict[str, str]:
    """As the units give it, but with the database of the tests."""
    url = database.url_of_database()
    ours = {"DATABASE_URL": url, "RESTORER_VAR": str(tmp_path), "RESTORER_NO_VENV": "1"}
    return os.environ | ours | {"DJANGO_SETTINGS_MODULE": "restorer.settings", "LOG_LEVEL": "ERROR"}


def has_begun(name: str, pid: int, port: int) -> bool:
    """Whether the process is at its work."""
    if name == "web":
        return processes.wait_for_answer("127.0.0.1", port, seconds=0.1)
    if name == "deliver":
        return Heartbeat.objects.filter(name="deliver").exists()
    return (
        len(descendants(pid)) >= 4
    )  # the main process of the cluster, its guard, a worker, a monitor


def descendants(pid: int) -> set[int]:
    """All processes that it started, and those that these started."""
    found = subprocess.run(
        ["ps", "-eo", "pid=,ppid="], capture_output=True, text=True, check=True
    ).stdout
    pairs = [tuple(map(int, line.split())) for line in found.splitlines()]
    ours = {pid}
    while more := {child for child, parent in pairs if parent in ours} - ours:
        ours |= more
    return ours - {pid}


def is_alive(pid: int) -> bool:
    """Zombies of a container without a first process that clears them away do not count."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except FileNotFoundError:
        return False


@pytest.mark.slow
@pytest.mark.skipif(
    not Path("/proc/self/stat").exists(), reason="needs the list of processes of Linux"
)
@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("name", LASTING)
def test_each_process_ends_cleanly_on_sigterm_and_leaves_none_behind(
    name: str, tmp_path: Path
) -> None:
    port = processes.free_port(2900)
    words = [word.replace("8000", str(port)) for word in command_of(name)[1:]]
    process = subprocess.Popen([sys.executable, *words], cwd=TOP, env=environment(tmp_path))
    try:
        until = time.monotonic() + 60
        while not has_begun(name, process.pid, port):
            assert process.poll() is None
            assert time.monotonic() < until
            time.sleep(0.1)
        left = descendants(process.pid)
        process.send_signal(signal.SIGTERM)
        assert process.wait(timeout=100) == 0
        assert not [pid for pid in left if is_alive(pid)]
    finally:
        process.kill()
        process.wait()
