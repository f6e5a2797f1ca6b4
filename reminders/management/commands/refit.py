"""`manage.py refit`: learn from all graded visits;
the fit is taken into use unless it does worse on held-back ones."""

from argparse import ArgumentParser
from typing import Any

from django.utils import timezone

from clients.management.opening import BookCommand
from clients.tables import add_format_option, write_rows
from reminders.forecasting import refitting
from reminders.management.arguments import require_business

FIT_COLUMNS = [
    "version",
    "trained_on",
    "visits",
    "coats",
    "decks",
    "held_back",
    "own_score",
    "in_use_score",
    "flat_score",
    "class_score",
    "is_in_use",
]
COLUMNS = [*FIT_COLUMNS, "said"]


class Command(BookCommand):
    help = "Learn from the graded visits in the book if enough of them are new."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--always", action="store_true", help="Even if little is new.")
        add_format_option(parser)

    def handle(self, *args: Any, **options: Any) -> None:
        now = timezone.now()
        found = refitting.refit(
            today=require_business().today(now), now=now, always=options["always"]
        )
        row = {name: getattr(found.fit, name, None) for name in FIT_COLUMNS} | {
            "said": found.outcome
        }
        write_rows([row], format=options["format"], out=self.stdout, columns=COLUMNS)
