"""`manage.py ledger jobs --from 2027-01-01`: done jobs or accepted offers, for any ledger."""

from argparse import ArgumentParser
from datetime import date
from typing import Any

from django.core.management.base import CommandError

from clients.management.opening import BookCommand
from clients.tables import add_format_option, write_rows
from jobs.offers import LEDGER_TABLES


def day_argument(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise CommandError(f"“{text}” is no day. Write it as 2027-05-14.") from None


class Command(BookCommand):
    help = "Print done jobs, or accepted offers, with what was agreed and charged."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("table", choices=list(LEDGER_TABLES), help="Which rows.")
        parser.add_argument("--from", dest="first", help="First day, such as 2027-01-01.")
        parser.add_argument("--until", dest="last", help="Last day.")
        add_format_option(parser)

    def handle(self, *args: Any, **options: Any) -> None:
        rows, columns = LEDGER_TABLES[options["table"]]
        first, last = (
            day_argument(options[name]) if options[name] else None for name in ("first", "last")
        )
        write_rows(rows(first, last), format=options["format"], out=self.stdout, columns=columns)
