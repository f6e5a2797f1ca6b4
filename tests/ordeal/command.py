"""`manage.py ordeal`: is no message sent twice and none lost while senders are killed and the
database restarts?"""

import os
import shutil
import signal
import subprocess
import sys
import tempfile
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError

from clients.tables import add_format_option, write_rows
from restorer.local import postgres
from tests.ordeal import hosts, siege
from tests.ordeal.cluster import Cluster
from tests.ordeal.ordeal import COLUMNS, Ordeal

INSIDE_VARIABLE = "RESTORER_ORDEAL"
MUST_BE_ZERO = [
    *("accepted_twice", "lost", "taken_unrecorded", "taken_back_and_sent"),
    "sent_after_no",  # of several hosts only
]
NEEDED_FOR_HOSTS = ["ip", "mount", "pgbouncer"]


class Command(BaseCommand):
    requires_system_checks = []
    help = (
        "Kill senders at random on a scratch server with a rude mail server; your book is not"
        " touched."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--messages", type=int, default=2000)
        parser.add_argument("--senders", type=int, default=4)
        parser.add_argument("--kills", type=int, default=100)
        parser.add_argument("--restarts", type=int, default=2, help="Restarts of PostgreSQL")
        parser.add_argument("--seed", type=int, default=1)
        parser.add_argument(
            "--hosts",
            type=int,
            default=0,
            help="So many hosts with a network of their own, two servers behind a pooler, a full"
            " disk, and clients who unsubscribe meanwhile (root, iproute2, PgBouncer)",
        )
        add_format_option(parser)

    def handle(self, *args: Any, **options: Any) -> None:
        signal.signal(signal.SIGTERM, lambda *_: sys.exit("Broken off."))  # and clean up
        if os.environ.get(INSIDE_VARIABLE) != "1":
            sys.exit(run_on_hosts() if options["hosts"] else run_on_scratch_server())
        ordeal = self.ordeal(options)
        try:
            row = ordeal.run()
        finally:
            if not options["hosts"]:
                postgres.stop_server()
                shutil.rmtree(postgres.server_home(), ignore_errors=True)
        columns = siege.COLUMNS if options["hosts"] else COLUMNS
        write_rows([row], format=options["format"], out=self.stdout, columns=columns)
        if any(row.get(name) for name in MUST_BE_ZERO):
            raise CommandError("The promise was broken.")
        if row.get("unanswered") and not row["unsubscribed"]:
            raise CommandError("No host answered anybody who unsubscribed: that was not tried.")

    def ordeal(self, options: dict[str, Any]) -> Ordeal:
        terms = {name: options[name] for name in ("messages", "senders", "kills", "seed")}
        directory = Path(os.environ["RESTORER_VAR"])
        if not options["hosts"]:
            call_command("migrate", verbosity=0, interactive=False)
            call_command("createcachetable", verbosity=0)
            return Ordeal(directory, {}, restart_server, outages=options["restarts"], **terms)
        call_command("prepare", stdout=self.stderr)
        cluster = Cluster(directory / "cluster")
        environment = {"DATABASE_URL": cluster.url}
        hosted = {"cluster": cluster, "host_count": options["hosts"]}
        return siege.Siege(directory, environment, cluster.crash, **terms, **hosted)


def run_on_scratch_server() -> int:
    """This very command with a data directory of its own, and so with a PostgreSQL of its own."""
    with tempfile.TemporaryDirectory(prefix="ordeal-") as directory:
        return run_inside(directory)


def run_on_hosts() -> int:
    """This very command with two servers and a pooler of its own on a network of its own."""
    missing = [name for name in NEEDED_FOR_HOSTS if not shutil.which(name)]
    if os.geteuid() != 0 or missing:
        raise CommandError(f"Hosts need root and the programs {', '.join(NEEDED_FOR_HOSTS)}.")
    with tempfile.TemporaryDirectory(prefix="ordeal-") as directory, hosts.bridge():
        Path(directory).chmod(0o755)  # the servers' user goes through it
        cluster = Cluster(Path(directory) / "cluster")
        try:
            cluster.start(hosts.GATEWAY)
            return run_inside(directory, DATABASE_URL=cluster.url)
        finally:
            cluster.stop()


def run_inside(directory: str, **settings: str) -> int:
    environment = os.environ | {
        "RESTORER_VAR": directory,
        "RESTORER_MODE": "book",
        "BASE_URL": "http://decks.example.com",  # messages hold no link to this machine
        INSIDE_VARIABLE: "1",
    }
    environment.pop("DATABASE_URL", None)
    inner = subprocess.Popen([sys.executable, *sys.argv], env=environment | settings)
    try:
        return inner.wait()
    finally:
        inner.terminate()  # broken off: it cleans up before we do
        inner.wait()


def restart_server() -> None:
    postgres.stop_server()
    postgres.start_server()
