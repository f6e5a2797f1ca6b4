"""`manage.py backtest`: what the forecast would have said before each visit of past years, and what
was found."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import CommandError
from django.utils import timezone

from clients.management.opening import BookCommand
from clients.tables import add_format_option, write_rows
from reminders.forecasting import bridge, evaluation, learning
from reminders.management.arguments import require_business


class Command(BookCommand):
    help = (
        "Judge the forecast on the business's own book: learn from the past, forecast a year, look"
        " what was found."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "--years",
            type=int,
            default=evaluation.MAX_BACKTEST_YEARS,
            help="How far to look back (default: 10).",
        )
        parser.add_argument(
            "--reliability",
            action="store_true",
            help="How often coats were worn, by the chance that was forecast.",
        )
        add_format_option(parser)

    def handle(self, *args: Any, **options: Any) -> None:
        if not 1 <= options["years"] <= 50:
            raise CommandError("--years must lie between 1 and 50.")
        today = require_business().today(timezone.now())
        history = learning.load_training_data(today=today)
        if history is None or not history.visits:
            raise CommandError(
                "No coat has been graded on a visit yet, so there is nothing to judge the"
                " forecast by."
            )
        found = evaluation.backtest_by_year(
            history.book,
            today=today,
            years=options["years"],
            along_path=bridge.active_posterior().path is not None,
        )
        rows, columns = (
            (found.bins, evaluation.BIN_COLUMNS)
            if options["reliability"]
            else (found.scores, evaluation.SCORE_COLUMNS)
        )
        write_rows(rows, format=options["format"], out=self.stdout, columns=columns)
