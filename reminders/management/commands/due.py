"""`manage.py due 2027-03`: which decks are due in a month, and which became due earlier and are
still open."""

from argparse import ArgumentParser
from typing import Any

from django.utils import timezone

from clients import display
from clients.management.opening import BookCommand
from clients.tables import add_format_option, write_rows
from reminders.due import due_list
from reminders.management.arguments import month_argument, require_business


class Command(BookCommand):
    help = "List the decks that are due in a month, such as 2027-03, town by town."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("month", help="Year and month, such as 2027-03.")
        parser.add_argument(
            "--only-this-month", action="store_true", help="Leave out what became due earlier."
        )
        add_format_option(parser)

    def handle(self, *args: Any, **options: Any) -> None:
        business = require_business()
        month = month_argument(options["month"])
        today = business.today(timezone.now())
        with display.override_business(business):
            found = due_list.due_month_rows(
                month, today=today, with_carried_over=not options["only_this_month"]
            )
            write_rows(found, format=options["format"], out=self.stdout, columns=due_list.COLUMNS)
