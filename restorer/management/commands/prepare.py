"""`manage.py prepare`: bring database, cache table, towns, schedules and static files up to date;
safe to repeat."""

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
        for what, command, arguments in STEPS:
            if command in get_commands():
                self.stdout.write(what)
                self.stdout.flush()
                call_command(command, stdout=self.stdout, **arguments)
