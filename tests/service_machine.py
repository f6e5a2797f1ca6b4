#!/usr/bin/env python3
"""The units of docs/running under a systemd of their own, set up by that page's own lines.

    python3 -m tests.service_machine            # ten minutes

Run as root on Debian 12 with debootstrap, git and systemd's own control groups (cgroup v1). A bare
Debian (tests/bare_machine.py) gets PostgreSQL and what the page says; then systemd runs as the
first process of namespaces without a network, and each sentence below has to be true.
"""

import os
import re
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from tests.bare_machine import PATH, SOURCE, Machine, must, say

INSTALL = """
echo 'APT::Get::Assume-Yes "true";' > /etc/apt/apt.conf.d/assume-yes
export DEBIAN_FRONTEND=noninteractive
apt-get -q update
apt-get -q install systemd systemd-sysv dbus procps curl postgresql python3-venv
"""
LONG_RUNNING = ["restorer-web", "restorer-worker", "restorer-deliver"]
UNITS = ["restorer-prepare", *LONG_RUNNING]
LIMITS = {"restorer-web": 30, "restorer-worker": 100, "restorer-deliver": 130}  # TimeoutStopSec
GROUP = Path("/sys/fs/cgroup/systemd") / f"restorer-{os.getpid()}"
NAMESPACES = "--mount --propagation private --pid --uts --ipc --net --cgroup --fork --kill-child"
SETTINGS = r"""
sed -i "s|^SECRET_KEY=.*|SECRET_KEY=$(head -c 48 /dev/urandom | base64 -w0)|" \
    /etc/restorer/environment
sed -i "s|^EMAIL_HOST=.*|EMAIL_HOST=127.0.0.1|" /etc/restorer/environment
"""
BOOT = """
mount --bind "$1" "$1" && cd "$1" || exit 99
mount -t proc proc proc && mount -t sysfs sysfs sys && mount -t tmpfs -o mode=755 tmpfs dev
for each in null zero full random urandom tty; do
    touch dev/$each && mount --bind /dev/$each dev/$each
done
mkdir dev/shm && mount -t tmpfs tmpfs dev/shm && ln -s /proc/self/fd dev/fd
mount -t tmpfs -o mode=755 tmpfs run && mount -t tmpfs -o mode=755 tmpfs sys/fs/cgroup
mkdir sys/fs/cgroup/systemd && mount -t cgroup -o none,name=systemd cgroup sys/fs/cgroup/systemd
ip link set lo up
mkdir -p mnt && pivot_root . mnt && umount -l /mnt
exec env -i container=namespaces PATH="$2" /lib/systemd/systemd --unit=multi-user.target
"""
HEALTH = (
    "curl --silent --output /dev/null --write-out %{http_code} http://127.0.0.1:8000/health/"
    " --header Host:decks.example.com --header X-Forwarded-Proto:https"
)


def main() -> int:
    if os.geteuid() != 0 or not GROUP.parent.is_dir():
        sys.exit("Run it as root, where /sys/fs/cgroup/systemd is mounted (cgroup v1).")
    with tempfile.TemporaryDirectory(prefix="services-") as place:
        machine = ServiceMachine(Path(place))
        machine.build()
        machine.set_up()
        with booted(machine):
            for words in ("createuser", "systemctl daemon-reload"):
                machine.must(next(line for line in running_lines() if words in line))
            prove_pages_answer(machine)
            prove_killed_ones_come_back(machine)
            prove_they_write_their_own_only(machine)
            prove_they_end_in_time(machine)
        with booted(machine):
            prove_pages_answer(machine)
    return 0


class ServiceMachine(Machine):
    """A root directory with the source in /opt/restorer and systemd as its first process."""

    def __init__(self, root: Path) -> None:
        super().__init__(root, "bookworm", "root")
        self.home = root / "opt"
        self.first_process = 0

    def set_up(self) -> None:
        """By the lines of the page, up to those that need systemd."""
        before = [line for line in running_lines() if not re.match("su |systemctl ", line)]
        commands = "\n".join(["set -e", INSTALL, *before, SETTINGS])
        code, said = self.inside("root", commands)
        if code:
            sys.exit(f"Setting up ended with {code}: {said[-2000:]}")

    def must(self, line: str) -> str:
        """What a shell beside the units answers."""
        enter = ["nsenter", f"--target={self.first_process}", *"-m -p -u -i -n -C -r -w".split()]
        return must([*enter, "env", "-i", f"PATH={PATH}", "sh", "-c", line]).strip()

    def property(self, unit: str, name: str) -> str:
        return self.must(f"systemctl show --property {name} --value {unit}")

    def wait_for(self, line: str, wanted: str, seconds: int) -> None:
        end = time.monotonic() + seconds
        while (found := self.must(f"{line} || true")) != wanted:
            if time.monotonic() > end:
                journal = self.must("journalctl --no-pager --unit 'restorer*' | tail -30")
                sys.exit(f"{line}\nstill says {found!r}, not {wanted!r}:\n{journal}")
            time.sleep(1)


@contextmanager
def booted(machine: ServiceMachine) -> Iterator[None]:
    """Namespaces whose first process is systemd; all in them ends with it."""
    GROUP.mkdir()
    command = ["unshare", *NAMESPACES.split(), "sh", "-c", BOOT, "boot", str(machine.root), PATH]
    shell = 'echo $$ > "$0/cgroup.procs" && exec "$@"'
    unshare = subprocess.Popen(["sh", "-c", shell, str(GROUP), *command], stdin=subprocess.DEVNULL)
    try:
        time.sleep(10)
        children = Path(f"/proc/{unshare.pid}/task/{unshare.pid}/children")
        machine.first_process = int(children.read_text())
        machine.wait_for("systemctl is-active multi-user.target", "active", 900)
        yield
    finally:
        unshare.kill()
        unshare.wait()
        remove_group()


def remove_group() -> None:
    """Its subgroups first; the kernel lets go of a group once its last process has ended."""
    time.sleep(2)
    for folder, _, _ in os.walk(GROUP, topdown=False):
        Path(folder).rmdir()


def running_lines() -> list[str]:
    """The commands of the page's part about systemd."""
    page = (SOURCE / "docs/running/README.md").read_text()
    found = re.search(r"^## With systemd$.*?^```$(.*?)^```$", page, re.DOTALL | re.MULTILINE)
    assert found
    return found.group(1).strip().splitlines()


def prove_pages_answer(machine: ServiceMachine) -> None:
    machine.wait_for(HEALTH, "200", 300)
    for unit in UNITS:
        machine.wait_for(f"systemctl is-active {unit}", "active", 5)
    say("The pages answer, and all four units are active.")


def prove_killed_ones_come_back(machine: ServiceMachine) -> None:
    for unit in LONG_RUNNING:
        machine.must(f"kill -9 {machine.property(unit, 'MainPID')}")
        machine.wait_for(f"systemctl show --property NRestarts --value {unit}", "1", 30)
    prove_pages_answer(machine)
    say("Each was killed and came back.")


def prove_they_write_their_own_only(machine: ServiceMachine) -> None:
    for unit in LONG_RUNNING:
        inside = f"nsenter --target {machine.property(unit, 'MainPID')} --mount"
        machine.must(f"{inside} touch /var/lib/restorer/written")
        machine.must(f"! {inside} touch /opt/restorer/written")
        machine.must(f"! {inside} touch /etc/restorer/written")
    say("Each can write its own state, not the program and not the settings.")


def prove_they_end_in_time(machine: ServiceMachine) -> None:
    for unit in LONG_RUNNING:
        began = time.monotonic()
        machine.must(f"systemctl stop {unit}")
        took = time.monotonic() - began
        if machine.property(unit, "Result") != "success" or took > LIMITS[unit]:
            sys.exit(f"{unit} did not end as it should: {took:.0f} s")
        say(f"{unit} ended in {took:.1f} s.")
    if left := machine.must("pgrep --full '[m]anage.py' || true"):
        sys.exit(f"Left behind: {left}")


if __name__ == "__main__":
    sys.exit(main())
