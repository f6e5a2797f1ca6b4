"""`manage.py ordeal`: is no message sent twice and none lost while senders are killed and the
database restarts?"""

import os
import shutil
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
from tests.ordeal.ordeal import COLUMNS, Ordeal

INSIDE_VARIABLE = "RESTORER_ORDEAL"
MUST_BE_ZERO = ["accepted_twice", "lost", "taken_unrecorded", "taken_back_and_sent"]


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
        add_format_option(parser)

    def handle(self, *args: Any, **options: Any) -> None:
        if os.environ.get(INSIDE_VARIABLE) != "1":
            sys.exit(run_on_scratch_server())
        try:
            row = self.measure(options)
        finally:
            postgres.stop_server()
            shutil.rmtree(postgres.server_home(), ignore_errors=True)
        write_rows([row], format=options["format"], out=self.stdout, columns=COLUMNS)
        if any(row[name] for name in MUST_BE_ZERO):
            raise CommandError("The promise was broken.")

    def measure(self, options: dict[str, Any]) -> dict[str, object]:
        call_command("migrate", verbosity=0, interactive=False)
        call_command("createcachetable", verbosity=0)
        terms = {name: options[name] for name in ("messages", "senders", "kills", "seed")}
        directory = Path(os.environ["RESTORER_VAR"])
        return Ordeal(directory, {}, restart_server, outages=options["restarts"], **terms).run()


def run_on_scratch_server() -> int:
    """This very command with a data directory of its own, and so with a PostgreSQL of its own."""
    with tempfile.TemporaryDirectory(prefix="ordeal-") as directory:
        environment = os.environ | {
            "RESTORER_VAR": directory,
            "RESTORER_MODE": "book",
            "BASE_URL": "http://decks.example.com",  # messages hold no link to this machine
            INSIDE_VARIABLE: "1",
        }
        environment.pop("DATABASE_URL", None)
        return subprocess.run([sys.executable, *sys.argv], env=environment, check=False).returncode


def restart_server() -> None:
    postgres.stop_server()
    postgres.start_server()
