"""`manage.py export_learning FILE`: write what this book learned, with nothing about anybody."""

import json
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management import CommandError
from django.utils import timezone

from clients.management.opening import BookCommand
from reminders.forecasting import starting
from reminders.management.arguments import require_business


class Command(BookCommand):
    help = (
        "Write what the visits of this book teach as a small file that another book may start"
        " from: coefficients, their doubt and three counts, nothing about clients or decks."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", type=Path, help="Must not exist yet.")

    def handle(self, *args: Any, **options: Any) -> None:
        path: Path = options["file"]
        today = require_business().today(timezone.now())
        try:
            found = starting.learned_of_book(today=today)
            with path.open("x", encoding="utf-8") as file:
                json.dump(found.to_dict(), file, indent=1)
        except starting.StartingError as why:
            raise CommandError(str(why)) from why
        except OSError as wrong:
            raise CommandError(f"{path} cannot be written: {wrong.strerror}.") from wrong
        self.stdout.write(
            f"{path}: learned from {found.visits} visits to {found.coats} coats on {found.decks}"
            " decks."
        )
