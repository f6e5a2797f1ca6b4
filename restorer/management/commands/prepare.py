"""`manage.py prepare`: bring database, cache table, towns, schedules and static files up to date;
safe to repeat."""

import gc
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from django.core.management import call_command, get_commands
from django.core.management.base import BaseCommand
from django.core.management.commands import migrate
from django.db import connection
from django.db.migrations.executor import MigrationExecutor

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
        with rare_collections():
            for what, command, arguments in STEPS:
                if command in get_commands():
                    self.stdout.write(what)
                    self.stdout.flush()
                    shown = CountedMigrate() if command == "migrate" else command
                    call_command(shown, stdout=self.stdout, **arguments)


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
