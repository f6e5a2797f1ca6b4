"""`manage.py pace --from 2027-03 --weeks 12`: whom to remind in which week so that the crews are full and no more."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from clients import display
from clients.tabular import add_format, write_rows
from reminders.management.month import business_in_force, month_argument
from reminders.months import month_of, written
from reminders.pacing import page
from reminders.pacing.actions import make_plan, plan
from reminders.pacing.book import PaceError, horizon


class Command(BaseCommand):
    help = "Choose whom to remind in which week, so that answers fill the crews without overrunning them."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--from", dest="month", help="Year and month, such as 2027-03 (default: this month).")
        parser.add_argument("--weeks", type=int, default=12, help="How many weeks (default: 12).")
        parser.add_argument("--percent", type=int, default=100, help="Share of the free hours to fill (default: 100).")
        parser.add_argument("--hours", action="store_true", help="Print weeks with their hours, not households.")
        parser.add_argument("--save", action="store_true", help="Keep the plan in place of the one before.")
        add_format(parser)

    def handle(self, *args: Any, **options: Any) -> None:
        business, now = business_in_force(), timezone.now()
        today = business.today(now)
        month = month_argument(options["month"] or written(month_of(today)))
        try:
            chosen = horizon(month, weeks=options["weeks"], percent=options["percent"], today=today)
            made = (
                make_plan(horizon=chosen, now=now) if options["save"] else plan(chosen, today=today, business=business)
            )
        except PaceError as error:
            raise CommandError(str(error)) from error
        rows, columns = page.rows_of(made), page.COLUMNS
        if options["hours"]:
            rows, columns = page.hours_of(made), page.HOUR_COLUMNS
        with display.written_for(business):
            write_rows(rows, format=options["format"], out=self.stdout, columns=columns)
