"""`manage.py pace --from 2027-03 --weeks 12`:
whom to remind in which week so that the crews are full and no more."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import CommandError
from django.utils import timezone

from clients import display
from clients.management.opening import BookCommand
from clients.tables import add_format_option, write_rows
from reminders.management.arguments import month_argument, require_business
from reminders.months import month_key, month_of
from reminders.pacing import (
    PacingError,
    compute_pacing_plan,
    horizon_from_month,
    save_pacing_plan,
    summary,
)


class Command(BookCommand):
    help = (
        "Choose whom to remind in which week, so that answers fill the crews without overrunning"
        " them."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "--from", dest="month", help="Year and month, such as 2027-03 (default: this month)."
        )
        parser.add_argument("--weeks", type=int, default=12, help="How many weeks (default: 12).")
        parser.add_argument(
            "--percent",
            type=int,
            default=100,
            help="Share of the free hours to fill (default: 100).",
        )
        parser.add_argument(
            "--hours", action="store_true", help="Print weeks with their hours, not households."
        )
        parser.add_argument(
            "--save", action="store_true", help="Keep the plan in place of the one before."
        )
        add_format_option(parser)

    def handle(self, *args: Any, **options: Any) -> None:
        business = require_business()
        now = timezone.now()
        today = business.today(now)
        month = month_argument(options["month"] or month_key(month_of(today)))
        try:
            chosen = horizon_from_month(
                month, weeks=options["weeks"], percent=options["percent"], today=today
            )
            made = (
                save_pacing_plan(horizon=chosen, now=now)
                if options["save"]
                else compute_pacing_plan(chosen, today=today, business=business)
            )
        except PacingError as error:
            raise CommandError(str(error)) from error
        rows = summary.household_rows(made)
        columns = summary.COLUMNS
        if options["hours"]:
            rows = summary.week_hours_rows(made)
            columns = summary.HOUR_COLUMNS
        with display.override_business(business):
            write_rows(rows, format=options["format"], out=self.stdout, columns=columns)
