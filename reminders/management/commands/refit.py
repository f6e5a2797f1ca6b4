"""`manage.py refit`: learn from all graded visits; the fit is taken into use unless it does worse on held-back ones."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand
from django.utils import timezone

from clients.tabular import add_format, write_rows
from reminders.forecasting import refitting
from reminders.management.month import business_in_force

STORED = [
    "version", "trained_on", "visits", "coats", "decks", "held_back", "own_score", "in_use_score", "flat_score",
    "class_score", "is_in_use",
]  # fmt: skip
COLUMNS = [*STORED, "said"]


class Command(BaseCommand):
    help = "Learn from the graded visits in the book if enough of them are new."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--always", action="store_true", help="Even if little is new.")
        add_format(parser)

    def handle(self, *args: Any, **options: Any) -> None:
        now = timezone.now()
        found = refitting.refit(today=business_in_force().today(now), now=now, always=options["always"])
        row = {name: getattr(found.fit, name, None) for name in STORED} | {"said": found.said}
        write_rows([row], format=options["format"], out=self.stdout, columns=COLUMNS)
