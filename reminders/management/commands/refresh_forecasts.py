"""`manage.py refresh_forecasts`: calculate when each finish is due, for all decks or some."""

from argparse import ArgumentParser
from time import perf_counter
from typing import Any

from django.utils import timezone

from clients.management.opening import BookCommand
from clients.tables import add_format_option, write_rows
from reminders import actions
from reminders.forecasting import storing
from reminders.management.arguments import require_business

COLUMNS = ["forecasts", "seconds", "today"]


class Command(BookCommand):
    help = "Recalculate when each finish is due; without deck numbers, for all decks."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "deck_ids", nargs="*", type=int, metavar="DECK_ID", help="Only these decks."
        )
        add_format_option(parser)

    def handle(self, *args: Any, **options: Any) -> None:
        now = timezone.now()
        started = perf_counter()
        today = require_business().today(now)
        count = actions.refresh_forecasts(
            deck_ids=options["deck_ids"] or None, today=today, now=now
        )
        if not options["deck_ids"]:
            storing.analyze_forecast_table()
        row = {"forecasts": count, "seconds": round(perf_counter() - started, 2), "today": today}
        write_rows([row], format=options["format"], out=self.stdout, columns=COLUMNS)
