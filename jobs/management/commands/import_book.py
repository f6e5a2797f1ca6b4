"""`manage.py import_book FILE`: bring in an old list, all of it or nothing."""

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import CommandError
from django.utils import timezone

from clients.management.opening import BookCommand
from clients.models import Business
from clients.tabular import add_format_option, write_rows
from jobs.importing import ImportReport, SheetError, import_book

PROBLEM_COLUMNS = ["row", "column", "message"]
TALLY_COLUMNS = ["clients", "properties", "decks", "products", "batches", "jobs", "already_there"]


class Command(BookCommand):
    help = (
        "Import a CSV or XLSX sheet with one row a job (columns: docs/owner.md). All of it or"
        " nothing."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", type=Path)
        parser.add_argument(
            "--dry-run", action="store_true", help="Check everything, write nothing."
        )
        add_format_option(parser)

    def handle(self, *args: Any, **options: Any) -> None:
        business = Business.current()
        if business is None:
            raise CommandError(
                "There is no business yet. Open the first page of the service and set it up."
            )
        try:
            report = import_book(
                path=options["file"],
                business=business,
                by=None,
                now=timezone.now(),
                is_dry_run=options["dry_run"],
            )
        except SheetError as error:
            raise CommandError(str(error)) from error
        self.show(report, options)

    def show(self, report: ImportReport, options: dict[str, Any]) -> None:
        if report.problems:
            rows = [vars(problem) for problem in report.problems]
            write_rows(rows, format=options["format"], out=self.stdout, columns=PROBLEM_COLUMNS)
            raise CommandError(
                f"{len(rows)} problems found, nothing was imported. Mend them in the sheet and try"
                " again."
            )
        made = [{name: getattr(report.tally, name) for name in TALLY_COLUMNS}]
        write_rows(made, format=options["format"], out=self.stdout, columns=TALLY_COLUMNS)
        self.stderr.write(
            "Nothing was written (dry run)." if options["dry_run"] else "Everything was imported."
        )
