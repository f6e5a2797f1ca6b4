#!/usr/bin/env python3
"""The README's two commands on a bare Debian, as root and as somebody who may install nothing.

    python3 tests/bare_machine.py                                       # all of it: an hour
    python3 tests/bare_machine.py --suite bookworm --user root --command test
    python3 tests/bare_machine.py --user ordinary --pytest "-m browser"

Run as root on Debian with debootstrap and git. Each machine is a root directory of debootstrap's
(minbase, python3, git, ca-certificates) with a clone of the commit that is checked out, and is
removed at the end. Its mounts and processes live in namespaces of their own and end with them, on
Ctrl-C and kill too. Packages come from where this host gets them: apt's and pip's configuration,
certificates, resolver and proxies are copied as they are found here.

Root gets everything installed. Whoever is not root must be told in one sentence what to install;
that is then done as an administrator would, and the command run again, until it goes well.
"""

import argparse
import os
import re
import shlex
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

SOURCE = Path(__file__).resolve().parent.parent
SUITES = ["bookworm", "trixie"]  # Debian 12 with Python 3.11, Debian 13 with Python 3.13
USERS = {"root": "/root", "ordinary": "/home/ordinary"}
COMMANDS = {"demo": "python3 manage.py demo --no-serve", "test": "python3 manage.py test"}
FROM_HOST = """
    etc/apt/apt.conf.d etc/apt/auth.conf.d etc/pip.conf etc/resolv.conf etc/hosts
    etc/ssl/certs/ca-certificates.crt
""".split()
PASSED_ON = re.compile(r"PIP_.*|SSL_CERT_.*|.*_proxy", re.IGNORECASE)
PATH = "/usr/local/sbin:/usr/local/bin:/usr/sbin:/usr/bin:/sbin:/bin"
TOLD = re.compile(r"apt-get install ([a-z0-9.+ -]+)$", re.MULTILINE)
MOST_ROUNDS = 5
ENTER = """
cd "$1" && mount -t proc proc proc && mount -t sysfs sysfs sys && mount --rbind /dev dev || exit 99
chroot --userspec="$2:$2" . sh -c "cd $3 && $4"
"""


def main() -> int:
    options = read_options()
    if os.geteuid() != 0 or not shutil.which("debootstrap"):
        sys.exit("Run it as root on Debian, after: apt-get install debootstrap")
    signal.signal(signal.SIGTERM, lambda number, frame: sys.exit("Ended by a signal."))
    failed = 0
    results = []
    for suite in options.suite or SUITES:
        for user in options.user or USERS:
            with tempfile.TemporaryDirectory(prefix=f"bare-{suite}-") as place:
                machine = Machine(Path(place), suite, user)
                machine.build()
                for command in options.command or COMMANDS:
                    failed += not machine.prove(command, options.pytest)
                results += machine.results
    say("\n" + "\n".join(results))
    return 1 if failed else 0


def read_options() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--suite", action="append", choices=SUITES)
    parser.add_argument("--user", action="append", choices=USERS)
    parser.add_argument("--command", action="append", choices=COMMANDS)
    parser.add_argument("--pytest", default="", help="options for the tests: “-m browser”")
    return parser.parse_args()


class Machine:
    """A root directory, and who works there."""

    def __init__(self, root: Path, suite: str, user: str) -> None:
        self.root = root
        self.suite = suite
        self.user = user
        self.home = root / USERS[user].lstrip("/")
        self.results: list[str] = []

    def build(self) -> None:
        say(f"Making a bare {self.suite} in {self.root}")
        began = time.monotonic()
        base = ["debootstrap", "--variant=minbase", "--include=python3,git,ca-certificates"]
        must([*base, self.suite, str(self.root), mirror()])
        self.root.chmod(0o755)
        for name in FROM_HOST:
            self.copy_from_host(name)
        if self.user != "root":
            self.inside("root", f"useradd --create-home {self.user}")
        self.clone()
        say(f"  done in {time.monotonic() - began:.0f} s")

    def copy_from_host(self, name: str) -> None:
        source = Path("/") / name
        target = self.root / name
        if source.is_dir():
            shutil.copytree(source, target, dirs_exist_ok=True)
        elif source.exists():
            target.unlink(missing_ok=True)
            shutil.copy(source, target)

    def clone(self) -> None:
        target = str(self.home / "restorer")
        must(["git", "clone", "--quiet", "--no-hardlinks", str(SOURCE), target])
        must(["chown", "-R", f"--reference={self.home}", target])

    def prove(self, command: str, pytest: str) -> bool:
        """True if it went well, if need be once all was installed that it asked for."""
        line = f"{COMMANDS[command]} {pytest if command == 'test' else ''}".strip()
        for _ in range(MOST_ROUNDS):
            say(f"\n{self.suite}, {self.user}: {line}")
            began = time.monotonic()
            code, output = self.inside(self.user, line, at=f"{USERS[self.user]}/restorer")
            asked = [] if self.user == "root" else self.still_missing(output)
            self.note(line, code, output, time.monotonic() - began, asked)
            if not asked:
                return code == 0 and "LEFT OUT" not in output
            self.inside("root", f"apt-get update && apt-get install -y {' '.join(asked)}")
        return False

    def inside(self, user: str, line: str, at: str = "/") -> tuple[int, str]:
        """By a shell in the root directory, with processes and mounts that end with it."""
        namespaces = ["--mount", "--propagation", "private", "--pid", "--fork", "--kill-child"]
        enter = ["sh", "-c", ENTER, "enter", str(self.root), user, at, line]
        return heard(["unshare", *namespaces, *enter], self.environment(user))

    def environment(self, user: str) -> dict[str, str]:
        """What a log-in would set, and by what the host reaches packages, as far as it is here."""
        found = {"PATH": PATH, "HOME": USERS[user], "USER": user}
        for name, value in os.environ.items():
            is_here = not value.startswith("/") or (self.root / value.lstrip("/")).exists()
            if PASSED_ON.fullmatch(name) and is_here:
                found[name] = value
        return found

    def still_missing(self, output: str) -> list[str]:
        asked = {package for packages in TOLD.findall(output) for package in packages.split()}
        return sorted(asked - self.installed())

    def installed(self) -> set[str]:
        query = ["dpkg-query", f"--admindir={self.root}/var/lib/dpkg", "--show"]
        return set(must([*query, "--showformat=${Package} "]).split())

    def note(self, line: str, code: int, output: str, seconds: float, asked: list[str]) -> None:
        end = output.strip().rsplit("\n", 1)[-1].strip("= ")
        how = f"status {code}, {seconds:.0f} s: {end}"
        self.results.append(f"{self.suite}, {self.user}: {line}: {how}")
        if asked:
            self.results.append(f"  it asks for {' '.join(asked)}")
        elif code and (log := self.home / "restorer/var/bootstrap.log").exists():
            say(f"The end of {log.name}:\n{log.read_text()[-2000:]}")
        history = self.root / "var/log/apt/history.log"
        if history.exists():
            lines = re.findall(r"^Commandline: (.*)$", history.read_text(), re.MULTILINE)
            self.results += [f"  apt so far: {each}" for each in lines]
        self.results.append(f"  {len(self.installed())} packages of Debian are on it now")


def mirror() -> str:
    """Where this host's apt has Debian from."""
    query = ["apt-get", "indextargets", "--format", "$(REPO_URI)", "Created-By: Packages"]
    listed = must([*query, "Origin: Debian"])
    return next(line for line in listed.splitlines() if "security" not in line)


def must(command: list[str]) -> str:
    answer = subprocess.run(command, capture_output=True, text=True)
    if answer.returncode:
        said = f"{answer.stdout}{answer.stderr}"[-2000:]
        sys.exit(f"{shlex.join(command)} ended with {answer.returncode}:\n{said}")
    return answer.stdout


def heard(command: list[str], environment: dict[str, str]) -> tuple[int, str]:
    """Its status and everything it says, which is passed on as it comes."""
    kept = b""
    with subprocess.Popen(
        command, env=environment, stdout=subprocess.PIPE, stderr=subprocess.STDOUT
    ) as process:
        out: Any = process.stdout
        try:
            while said := out.read1():
                kept += said
                sys.stdout.buffer.write(said)
                sys.stdout.flush()
        except BaseException:
            process.kill()  # and by --kill-child all that it started
            raise
    return process.returncode, kept.decode(errors="replace")


def say(text: str) -> None:
    sys.stdout.write(f"{text}\n")
    sys.stdout.flush()


if __name__ == "__main__":
    sys.exit(main())
