"""Back to a moment: the steps of docs/server.md (“To the minute”) on a server made for it."""

import os
import shutil
import subprocess
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from restorer.local import postgres
from restorer.local.postgres_programs import PostgresError

pytestmark = pytest.mark.slow
SECONDS = 120


class ScratchServer:
    """A server of its own beside that of the tests, run as that one is."""

    def __init__(self, home: Path) -> None:
        self.home = home
        self.programs = postgres.bin_dir()
        self.data = home / "data"

    def run(self, program: str, *words: object) -> str:
        done = subprocess.run(
            [str(self.programs / program), *map(str, words)],
            cwd=self.home,
            env={"PATH": os.environ["PATH"], "LC_ALL": "C", "TZ": "UTC"},
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            timeout=SECONDS,
            **postgres.server_identity(),
        )
        assert done.returncode == 0, done.stdout
        return done.stdout.strip()

    def start(self) -> None:
        sockets = f"-c listen_addresses='' -c unix_socket_directories={self.home}"
        self.run(
            "pg_ctl", "-D", self.data, "-l", self.home / "log.txt", "-o", sockets, "-w", "start"
        )

    def stop(self) -> None:
        self.run("pg_ctl", "-D", self.data, "-m", "fast", "-w", "stop")

    def ask(self, sql: str) -> str:
        return self.run("psql", "-h", self.home, "-U", "restorer", "-Atc", sql, "postgres")


@pytest.fixture
def server() -> Iterator[ScratchServer]:
    try:
        postgres.bin_dir()
    except PostgresError as error:  # a hosted database and no programs on this machine
        pytest.skip(str(error))
    home = Path(tempfile.mkdtemp(prefix="pitr-"))
    who = postgres.server_identity()
    if who:
        os.chown(home, who["user"], who["group"])
    scratch = ScratchServer(home)
    scratch.run("initdb", "-D", scratch.data, "-U", "restorer", "-A", "trust", "--no-instructions")
    try:
        scratch.start()
        yield scratch
    finally:
        scratch.stop()
        shutil.rmtree(home)


def test_the_book_comes_back_as_it_was_between_a_change_and_a_mistake(
    server: ScratchServer,
) -> None:
    log, base = server.home / "archive", server.home / "base"
    log.mkdir()
    if who := postgres.server_identity():
        os.chown(log, who["user"], who["group"])
    # switched on as the manual says
    server.ask("ALTER SYSTEM SET archive_mode = on")
    server.ask(f"ALTER SYSTEM SET archive_command = 'test ! -f {log}/%f && cp %p {log}/%f'")
    server.stop()
    server.start()
    server.ask("CREATE TABLE client (name text)")
    server.ask("INSERT INTO client SELECT 'client ' || n FROM generate_series(1, 100) n")
    server.run("pg_basebackup", "-h", server.home, "-U", "restorer", "-D", base, "-c", "fast")
    server.ask("INSERT INTO client VALUES ('after the base')")
    time.sleep(1.1)  # a moment between the two
    moment = server.ask("SELECT now()")
    time.sleep(1.1)
    server.ask("DELETE FROM client")
    server.ask("SELECT pg_switch_wal()")
    server.stop()

    # back to the moment
    server.data.rename(server.home / "data.lost")
    server.run("pg_verifybackup", "--no-parse-wal", base)
    base.rename(server.data)
    settings = server.data / "postgresql.auto.conf"
    with settings.open("a") as file:
        file.write(f"restore_command = 'cp {log}/%f %p'\n")
        file.write(f"recovery_target_time = '{moment}'\nrecovery_target_action = 'promote'\n")
    (server.data / "recovery.signal").touch()
    if who:
        os.chown(server.data / "recovery.signal", who["user"], who["group"])
    server.start()
    until = time.monotonic() + SECONDS
    while server.ask("SELECT pg_is_in_recovery()") == "t" and time.monotonic() < until:
        time.sleep(0.2)

    assert server.ask("SELECT count(*) FROM client") == "101"
    assert server.ask("SELECT count(*) FROM client WHERE name = 'after the base'") == "1"
    server.ask("INSERT INTO client VALUES ('written again')")
