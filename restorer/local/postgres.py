"""The zero-setup PostgreSQL server: our own small lifecycle around any PostgreSQL binaries of
version 15 or later.

Used only when DATABASE_URL is not set. The server listens on a socket in a private directory, never
on a port.
"""

import fcntl
import hashlib
import os
import pwd
import shlex
import shutil
import subprocess
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from urllib.parse import quote

from restorer.local.postgres_programs import (
    MIN_MAJOR_VERSION,
    PostgresError,
    copy_programs,
    ensure_server_user,
    postgres_version,
    process_command_line,
    program_dirs,
)

BASE_DIR = Path(__file__).resolve().parent.parent.parent
VAR_DIR = Path(os.environ.get("RESTORER_VAR", BASE_DIR / "var"))
ROOT_HOMES = Path(
    "/var/lib/restorer"
)  # for root: the user who runs the server may not reach the checkout
START_SECONDS = 120
# Nothing of a throwaway server need outlive a power cut: no write waits for the disk.
THROWAWAY = " -c fsync=off -c full_page_writes=off -c checkpoint_timeout=30min"
SOCKET_BYTES = 90  # a socket path may hold about 100 bytes


def database_name() -> str:
    return "restorer_demo" if os.environ.get("RESTORER_MODE") == "demo" else "restorer"


def server_home() -> Path:
    """Where the server keeps its data and socket:
    under var/, or for root in a place its user can reach."""
    if os.geteuid() != 0:
        return VAR_DIR / "postgres"
    if home_record().exists():
        return Path(home_record().read_text().strip())
    return ROOT_HOMES / hashlib.sha256(str(VAR_DIR).encode()).hexdigest()[:12]


def home_record() -> Path:
    """Remembers a home outside of var/, so that a checkout that is moved finds its book again."""
    return VAR_DIR / "postgres.path"


def socket_dir() -> Path:
    """A short path for the socket, whatever the length of the checkout's path."""
    beside = server_home() / "socket"
    if len(os.fsencode(str(beside))) < SOCKET_BYTES:
        return beside
    digest = hashlib.sha256(str(server_home()).encode()).hexdigest()[:12]
    return Path(tempfile.gettempdir()) / f"restorer-{os.geteuid()}-{digest}"


def database_url() -> str:
    """The address of the local database; pure, nothing is started."""
    return f"postgresql://restorer@/{database_name()}?host={quote(str(socket_dir()))}"


def bin_dir() -> Path:
    """The binaries to use; data made by one major version stay with that version."""
    made_by = data_version()
    for directory in program_dirs():
        version = postgres_version(directory)
        if version >= MIN_MAJOR_VERSION and made_by in {0, version}:
            return runnable_bin_dir(directory)
    needed = (
        f"version {made_by}, which made {server_home() / 'data'}"
        if made_by
        else f"version {MIN_MAJOR_VERSION} or later"
    )
    raise PostgresError(
        f"No PostgreSQL programs of {needed} were found. Install PostgreSQL, or set PG_BIN to the"
        " directory that holds initdb and pg_ctl, or set DATABASE_URL to a server of your own."
    )


def runnable_bin_dir(directory: Path) -> Path:
    """The same programs where the server's user can run them:
    a checkout under /root is closed to it."""
    if os.geteuid() != 0:
        return directory
    make_private_dir(server_home())
    try:
        run_as_server_user(directory / "postgres", "--version")
    except OSError:
        return copy_programs(directory, to=server_home() / "programs")
    return directory


def data_version() -> int:
    path = server_home() / "data" / "PG_VERSION"
    return int(path.read_text()) if path.is_file() else 0


def server_identity() -> dict[str, Any]:
    """For subprocess: who the server runs as. Root hands over to an unprivileged user."""
    if os.geteuid() != 0:
        return {}
    user = home_owner() or ensure_server_user()
    return {"user": user.pw_uid, "group": user.pw_gid, "extra_groups": []}


def home_owner() -> pwd.struct_passwd | None:
    """Data that are there already stay with the user who has them."""
    try:
        owner = server_home().stat().st_uid
        return pwd.getpwuid(owner) if owner else None
    except (FileNotFoundError, KeyError):
        return None


def run_as_server_user(
    *command: object, seconds: int = START_SECONDS
) -> subprocess.CompletedProcess[str]:
    """One of PostgreSQL's programs, as the server's user."""
    return subprocess.run(
        [str(word) for word in command],
        capture_output=True,
        text=True,
        timeout=seconds,
        cwd=server_home(),
        env={"PATH": os.environ.get("PATH", ""), "LC_ALL": "C", "TZ": "UTC"},
        check=False,
        **server_identity(),
    )


@contextmanager
def server_lock() -> Iterator[None]:
    """Two that start at once take turns."""
    VAR_DIR.mkdir(parents=True, exist_ok=True)
    with (VAR_DIR / "postgres.lock").open("w") as file:
        fcntl.flock(file, fcntl.LOCK_EX)
        yield


def make_private_dir(path: Path) -> None:
    """A directory that only the server's user can open; its parents are left as they are."""
    path.mkdir(parents=True, exist_ok=True)
    if os.geteuid() == 0:
        identity = server_identity()
        os.chown(path, identity["user"], identity["group"])
    path.chmod(0o700)


def is_server_running() -> bool:
    """Whether our server answers a query with our data directory; a process id proves nothing."""
    import psycopg

    try:
        with connect_to_server() as connection:
            row = connection.execute("SHOW data_directory").fetchone()
    except psycopg.OperationalError:
        return False
    return row is not None and Path(row[0]) == server_home() / "data"


def start_server() -> bool:
    """Make sure the server runs and the database exists. True when this call started it."""
    try:
        with server_lock():
            started = not is_server_running()
            if started:
                prepare_data()
                launch_server()
            ensure_database()
            remember_home()
    except PermissionError as error:
        reason = f"No access to {error.filename}. Run as the user who owns it"
        raise PostgresError(f"{reason}, or set DATABASE_URL to a server of your own.") from error
    return started


def remember_home() -> None:
    if server_home() != VAR_DIR / "postgres" and not home_record().exists():
        home_record().write_text(f"{server_home()}\n")


def prepare_data() -> None:
    """Data are made beside their place and moved there whole:
    a broken-off first start leaves no half of them."""
    make_private_dir(server_home())
    make_private_dir(socket_dir())
    if data_version():
        return
    unfinished = server_home() / "data.new"
    shutil.rmtree(unfinished, ignore_errors=True)
    programs = bin_dir()
    locale = (
        ["--locale-provider=builtin", "--locale=C.UTF-8"]
        if postgres_version(programs) >= 17
        else ["--locale=C.UTF-8"]
    )
    made = run_as_server_user(
        programs / "initdb",
        "-D",
        unfinished,
        "-U",
        "restorer",
        "-A",
        "trust",
        "--encoding=UTF8",
        "--data-checksums",
        "--no-instructions",
        *locale,
    )
    if made.returncode:
        raise PostgresError(
            f"PostgreSQL could not make its data directory {server_home() / 'data'}:"
            f" {made.stderr.strip()}"
        )
    unfinished.rename(server_home() / "data")


def launch_server() -> None:
    """Start by pg_ctl, and keep at it while a recovery runs or the remains of a killed server pass
    away."""
    until = time.monotonic() + START_SECONDS
    refusals = 0
    while refusals < 3 and time.monotonic() < until:
        started = run_pg_ctl_start()
        if is_server_running():
            return
        if not is_server_starting():
            refusals += 1
            drop_stale_pid_files()
        time.sleep(0.2)
    said = started.stderr.strip() or started.stdout.strip()
    raise PostgresError(f"PostgreSQL did not start: {said}\n{log_path()}:\n{log_tail(1500)}")


def run_pg_ctl_start() -> subprocess.CompletedProcess[str]:
    sockets = (
        f"-c unix_socket_directories={shlex.quote(str(socket_dir()))} -c"
        " unix_socket_permissions=0700"
    )
    options = (  # compiling a page's queries takes longer than running
        f"-c listen_addresses='' {sockets} -c jit=off"
    )
    if os.environ.get("RESTORER_THROWAWAY") == "1":
        options += THROWAWAY
    return run_as_server_user(
        bin_dir() / "pg_ctl",
        "-D",
        server_home() / "data",
        "-l",
        log_path(),
        "-o",
        options,
        "-w",
        "-t",
        START_SECONDS,
        "start",
        seconds=START_SECONDS + 10,
    )


def is_server_starting() -> bool:
    """A server of ours is on its way, or processes of the last one still hold its memory."""
    return is_our_server(recorded_pid()) or "shared memory block" in log_tail(400)


def log_path() -> Path:
    return server_home() / "server.log"


def log_tail(size: int) -> str:
    return log_path().read_text(errors="replace")[-size:] if log_path().exists() else ""


def drop_stale_pid_files() -> None:
    """Remove the files of a dead server when the process they name is none of ours (a zombie, a
    number given again)."""
    for path in pid_files():
        if not is_our_server(recorded_pid(path)):
            path.unlink(missing_ok=True)


def pid_files() -> list[Path]:
    """The data's own and the socket's; the socket's directory is ours alone too."""
    return [server_home() / "data" / "postmaster.pid", socket_dir() / ".s.PGSQL.5432.lock"]


def recorded_pid(path: Path | None = None) -> int:
    try:
        return int((path or pid_files()[0]).read_text().split()[0])
    except (FileNotFoundError, IndexError, ValueError):
        return 0


def is_our_server(pid: int) -> bool:
    command = process_command_line(pid) if pid else ""
    return "postgres" in command and str(server_home() / "data") in command


def ensure_database() -> None:
    from psycopg import sql

    with connect_to_server() as connection:
        found = connection.execute(
            "SELECT 1 FROM pg_database WHERE datname = %s", [database_name()]
        ).fetchone()
        if not found:
            connection.execute(
                sql.SQL("CREATE DATABASE {}").format(sql.Identifier(database_name()))
            )


def connect_to_server() -> Any:
    """To the server itself rather than to the book."""
    import psycopg

    return psycopg.connect(
        host=str(socket_dir()),
        user="restorer",
        dbname="postgres",
        autocommit=True,
        connect_timeout=5,
    )


def has_other_connections() -> bool:
    """Whether any program is connected to the server besides this question."""
    import psycopg

    question = "SELECT count(*) > 1 FROM pg_stat_activity WHERE backend_type = 'client backend'"
    try:
        with connect_to_server() as connection:
            return bool(connection.execute(question).fetchone()[0])
    except psycopg.OperationalError:
        return False


def stop_server() -> None:
    """Stop the server in good order; only for whoever started it."""
    with server_lock():
        if data_version():
            run_as_server_user(
                bin_dir() / "pg_ctl", "-D", server_home() / "data", "-m", "fast", "-w", "stop"
            )
