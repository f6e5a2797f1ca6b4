"""`manage.py prepare`: bring database, cache table, towns, schedules and static files up to date;
safe to repeat."""

import gc
import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from django.core.management import call_command, get_commands
from django.core.management.base import BaseCommand, CommandError, OutputWrapper
from django.core.management.commands import migrate
from django.db import OperationalError, connection
from django.db.migrations.executor import MigrationExecutor

DATABASE_SECONDS = 60  # for a database that was started at the same time
STEPS = [
    ("Bringing the database up to date", "migrate", {"interactive": False, "verbosity": 0}),
    ("Making the cache table", "createcachetable", {"verbosity": 0}),
    ("Loading the table of towns", "load_places", {}),
    ("Setting the alarm clock", "schedule", {}),
    ("Collecting static files", "collectstatic", {"interactive": False, "verbosity": 0}),
]


class Command(BaseCommand):
    help = "Bring database, towns, schedules and static files up to date (safe to repeat)."

    def handle(self, *args: Any, **options: Any) -> None:
        wait_for_database(self.stderr)
        with rare_collections():
            for what, command, arguments in STEPS:
                if command in get_commands():
                    self.stdout.write(what)
                    self.stdout.flush()
                    shown = CountedMigrate() if command == "migrate" else command
                    call_command(shown, stdout=self.stdout, **arguments)


def wait_for_database(out: OutputWrapper) -> None:
    """Until it answers; a CommandError with its reason when it does not in time."""
    end = time.monotonic() + DATABASE_SECONDS
    while True:
        try:
            connection.ensure_connection()
        except OperationalError as error:
            reason = str(error).strip()
            if time.monotonic() > end:
                raise CommandError(f"The database does not answer: {reason}") from error
            out.write(f"Waiting for the database: {reason}")
            time.sleep(2)
        else:
            return


class CountedMigrate(migrate.Command):
    """Says on a terminal how far it has come: a new book takes some twenty seconds."""

    done = 0
    total = 0

    def migration_progress_callback(self, action: str, *args: Any, **options: Any) -> None:
        if action == "apply_start" and not self.total:
            executor = MigrationExecutor(connection)
            self.total = len(executor.migration_plan(executor.loader.graph.leaf_nodes()))
        elif action == "apply_success" and self.stdout.isatty():
            self.done += 1
            end = "\n" if self.done == self.total else ""
            self.stdout.write(f"\r{self.done} of {self.total} changes", ending=end)


@contextmanager
def rare_collections() -> Iterator[None]:
    """A new book makes model classes by the ten thousand; the garbage collector took two fifths of
    the time to look at them again and again."""
    usual = gc.get_threshold()
    gc.set_threshold(100_000, 50, 1000)
    try:
        yield
    finally:
        gc.set_threshold(*usual)
