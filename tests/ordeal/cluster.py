"""Two PostgreSQL servers and a pooler in front of them, for the ordeal of several hosts.

The first server answers, the second keeps every commit with it (`synchronous_commit`), so that it
may take over. Both lie where their user reaches them; the pooler (PgBouncer) finds whoever answers
behind one symbolic link. Needs root, PgBouncer and `mount`.
"""

import contextlib
import os
import shutil
import subprocess
import time
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import quote

import psycopg

from restorer.local import postgres

MEMORY_DISK_MB = 400
BALLAST = "ballast"
POOLER_PORT = 6432
START_SECONDS = 60
OPTIONS = (
    "-c listen_addresses='' -c jit=off -c fsync=off -c max_connections=200 -c max_wal_size=64MB"
)
POOLER_CONFIGURATION = """\
[databases]
restorer = host={socket} dbname=restorer user=restorer pool_mode=session
pooled = host={socket} dbname=restorer user=restorer pool_mode=transaction
[pgbouncer]
listen_addr = {address}
listen_port = {port}
unix_socket_dir =
auth_type = any
user = {user}
max_client_conn = 500
default_pool_size = 60
server_login_retry = 1
tcp_keepidle = 5
tcp_keepintvl = 2
tcp_keepcnt = 3
ignore_startup_parameters = extra_float_digits,options
logfile = {directory}/pooler.log
pidfile = {directory}/pooler.pid
"""


class Cluster:
    """Its state lies on the disk: any process that knows the directory may do something to it."""

    def __init__(self, directory: Path) -> None:
        self.directory = directory
        self.socket = directory / "answering"

    @property
    def url(self) -> str:
        """Of whoever answers, for a process on this host, past the pooler."""
        return f"postgresql://restorer@/restorer?host={quote(str(self.socket))}"

    def start(self, pooler_address: str) -> None:
        """Both servers, the second in step with the first, the database, and the pooler."""
        postgres.make_private_dir(self.directory)
        (self.directory / "programs").symlink_to(postgres.bin_dir())
        first, second = self.directory / "first", self.directory / "second"
        for home in (first, second):
            postgres.make_private_dir(home)
        subprocess.run(
            ["mount", "-t", "tmpfs", "-o", f"size={MEMORY_DISK_MB}m", "ordeal", str(first)],
            check=True,
        )
        postgres.make_private_dir(first)
        self.run("initdb", "-D", first / "data", "-U", "restorer", "-A", "trust", "-E", "UTF8")
        self.answer_from(first)
        self.start_server(first)
        with psycopg.connect(host=str(first), user="restorer", dbname="postgres") as connection:
            connection.autocommit = True
            connection.execute("CREATE DATABASE restorer TEMPLATE template0 LOCALE 'C'")
            connection.execute("ALTER DATABASE restorer SET timezone = 'UTC'")
        copy = ("-D", second / "data", "-h", first, "-U", "restorer", "-R", "-X", "stream")
        self.run("pg_basebackup", *copy, "-c", "fast")
        self.start_server(second)
        self.start_server(first, keeps_with="*")
        self.start_pooler(pooler_address)

    def start_pooler(self, address: str) -> None:
        file = self.directory / "pooler.ini"
        user = postgres.ensure_server_user().pw_name
        terms = {"socket": self.socket, "address": address, "port": POOLER_PORT, "user": user}
        file.write_text(POOLER_CONFIGURATION.format(directory=self.directory, **terms))
        file.chmod(0o644)
        subprocess.run(["pgbouncer", "-q", "-d", str(file)], check=True)

    def stop(self) -> None:
        """All of it, whatever state it is in; the data go."""
        with contextlib.suppress(OSError, ValueError):
            os.kill(int((self.directory / "pooler.pid").read_text()), 9)
        for home in ("second", "first"):
            self.kill_server(self.directory / home)
        subprocess.run(["umount", "--lazy", str(self.directory / "first")], check=False)
        shutil.rmtree(self.directory, ignore_errors=True)

    def crash(self) -> None:
        """The server that answers is killed and started again, as a service manager would."""
        home = self.socket.resolve()
        self.kill_server(home)
        self.start_server(home, keeps_with="" if self.has_failed_over else "*")

    def fail_over(self) -> None:
        """The first server is gone for good; the second takes its place."""
        self.kill_server(self.directory / "first")
        second = self.directory / "second"
        self.run("pg_ctl", "-D", second / "data", "-w", "promote")
        self.answer_from(second)

    @property
    def has_failed_over(self) -> bool:
        return self.socket.resolve().name == "second"

    @contextlib.contextmanager
    def full_disk(self) -> Iterator[None]:
        """No byte is free under the first server; afterwards it is started if it gave up."""
        ballast = self.directory / "first" / BALLAST
        with contextlib.suppress(OSError), ballast.open("wb", buffering=0) as file:
            while True:
                file.write(b"\0" * 65536)
        try:
            yield
        finally:
            ballast.unlink(missing_ok=True)
            if not self.is_running(self.directory / "first"):
                self.start_server(self.directory / "first", keeps_with="*")

    def answer_from(self, home: Path) -> None:
        link = self.directory / "next"
        link.symlink_to(home)
        link.rename(self.socket)

    def start_server(self, home: Path, *, keeps_with: str = "") -> None:
        """Start it, or start it anew with these terms; a killed one may leave memory that passes
        away."""
        terms = f"{OPTIONS} -c unix_socket_directories={home}"
        terms += f" -c synchronous_standby_names='{keeps_with}'"
        words = ("-D", home / "data", "-l", home / "server.log", "-o", terms, "-w", "-m", "fast")
        until = time.monotonic() + START_SECONDS
        while True:
            try:
                return self.run("pg_ctl", *words, "restart")
            except RuntimeError:
                if time.monotonic() > until:
                    raise
                time.sleep(0.5)

    def kill_server(self, home: Path) -> None:
        """The postmaster; its children see that it is gone and end."""
        with contextlib.suppress(OSError, ValueError, IndexError):
            os.kill(int((home / "data" / "postmaster.pid").read_text().split()[0]), 9)

    def is_running(self, home: Path) -> bool:
        try:
            psycopg.connect(host=str(home), user="restorer", dbname="restorer").close()
        except psycopg.OperationalError:
            return False
        return True

    def run(self, program: str, *words: object) -> None:
        done = subprocess.run(
            [str(word) for word in (self.directory / "programs" / program, *words)],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            text=True,
            cwd=self.directory,
            env={"PATH": os.environ.get("PATH", ""), "LC_ALL": "C", "TZ": "UTC"},
            check=False,
            **postgres.server_identity(),
        )
        if done.returncode:
            logs = [log.read_text()[-1500:] for log in self.directory.glob("*/server.log")]
            raise RuntimeError("\n".join([f"{program}: {done.stderr.strip()}", *logs]))
