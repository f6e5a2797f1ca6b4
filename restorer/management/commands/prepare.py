"""`manage.py prepare`: bring database, cache table, towns, schedules and static files up to date;
safe to repeat."""

import gc
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from django.core.management import call_command, get_commands
from django.core.management.base import BaseCommand

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
                    call_command(command, stdout=self.stdout, **arguments)


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
