"""`manage.py figures`: one figure of the Figures page as rows."""

from argparse import ArgumentParser
from typing import Any

from django.utils import timezone

from clients import display
from clients.management.opening import BookCommand
from clients.tables import add_format_option, write_rows
from reminders.figures import FIGURE_READERS, read_figure
from reminders.management.arguments import require_business


class Command(BookCommand):
    help = "Print one figure of the Figures page, a row a month."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("figure", choices=list(FIGURE_READERS), help="Which one.")
        add_format_option(parser)

    def handle(self, *args: Any, **options: Any) -> None:
        business = require_business()
        today = business.today(timezone.now())
        with display.override_business(business):
            figure = read_figure(options["figure"], today=today, business=business)
        write_rows(
            figure.file_rows,
            format=options["format"],
            out=self.stdout,
            columns=figure.file_columns,
        )
        for note in figure.notes:
            self.stderr.write(note)
