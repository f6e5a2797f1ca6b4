"""`manage.py import_book FILE`: bring in an old list: the documented sheet as it is, or with
`--guess` any list, by the best guess at each doubt."""

from argparse import ArgumentParser
from collections.abc import Iterator
from contextlib import nullcontext
from pathlib import Path
from typing import Any

from django.core.management.base import CommandError
from django.db import transaction
from django.utils import timezone

from clients.management.opening import BookCommand
from clients.models import Business
from clients.tables import add_format_option, write_rows
from jobs.importing import (
    MAX_LIST_BYTES,
    ImportReport,
    ListError,
    ListReading,
    SheetError,
    book_facts,
    import_book,
    import_now,
    stage_list,
)
from jobs.models import ImportRow, ListImport

PROBLEM_COLUMNS = ["row", "column", "message"]
TALLY_COLUMNS = ["clients", "properties", "decks", "products", "batches", "jobs", "already_there"]
MADE_KINDS = {"clients": "clients", "properties": "sites", "decks": "decks", "jobs": "jobs"}
GUESS_COLUMNS = [
    *("sheet", "rows", "ready", "to_complete", *MADE_KINDS, "products", "changed"),
    *("columns", "doubts", "problems", "remarks"),
]


class Command(BookCommand):
    requires_system_checks: list[str] = []  # they load every page of the service
    help = (
        "Import a list. Without --guess a CSV or XLSX sheet with one row a job (columns:"
        " docs/owner.md), all of it or nothing. With --guess any list; rows that cannot be read"
        " wait on the page Bring your list in."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", type=Path)
        parser.add_argument(
            "--dry-run", action="store_true", help="Check everything, write nothing."
        )
        parser.add_argument(
            "--guess", action="store_true", help="Any list, by the best guess at each doubt."
        )
        add_format_option(parser)

    def handle(self, *args: Any, **options: Any) -> None:
        business = Business.current()
        if business is None:
            raise CommandError(
                "There is no business yet. Open the first page of the service and set it up."
            )
        if options["guess"]:
            self.guess(business, options)
            return
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

    def guess(self, business: Business, options: dict[str, Any]) -> None:
        with transaction.atomic() if options["dry_run"] else nullcontext():
            try:
                found = list(guessed_sheets(options["file"], business))
            except ListError as error:
                raise CommandError(str(error)) from error
            if options["dry_run"]:
                transaction.set_rollback(True)
        if options["format"] != "json":
            found = [{name: shown_value(value) for name, value in row.items()} for row in found]
        write_rows(found, format=options["format"], out=self.stdout, columns=GUESS_COLUMNS)
        if options["dry_run"]:
            self.stderr.write("Nothing was written (dry run).")
        elif any(row["to_complete"] for row in found):
            self.stderr.write("Rows to complete wait under Settings, Bring your list in.")


def read_list_file(path: Path) -> bytes:
    if not path.is_file():
        raise CommandError(f"There is no file {path}. Check the name.")
    if path.stat().st_size > MAX_LIST_BYTES:
        raise CommandError(
            f"{path.name} is larger than {MAX_LIST_BYTES // 1024**2} MB. Split it into several"
            " files."
        )
    return path.read_bytes()


def guessed_sheets(path: Path, business: Business) -> Iterator[dict[str, Any]]:
    """Each sheet brought in, and what was guessed about it. The file is not kept meanwhile."""
    now = timezone.now()
    for source in stage_list(
        name=path.name, content=read_list_file(path), business=business, by=None, now=now
    ):
        doubts = list(guessed_doubts(ListReading(source, book_facts(business, now))))
        yield {"doubts": doubts} | sheet_result(import_now(source=source, now=now))


def guessed_doubts(reading: ListReading) -> Iterator[dict[str, Any]]:
    for doubt in reading.doubts:
        for entry in doubt.entries:
            answers = {value: str(label) for value, label in entry.options}
            guess = reading.answers.get(doubt.key, entry.key)
            yield {
                "doubt": doubt.key,
                "question": doubt.question,
                "about": entry.label,
                "rows": entry.count,
                "guess": answers.get(guess, guess),
                "score": entry.score,
            }


def sheet_result(source: ListImport) -> dict[str, Any]:
    states = ImportRow.objects.filter(source=source).counts_by_state()
    waiting = ImportRow.objects.filter(source=source).to_complete()
    heads = zip(source.heads, source.mapping, source.scores, strict=True)
    return {
        "sheet": source.sheet or source.file_name,
        "rows": source.rows_total,
        "ready": source.rows_total - states.get(ImportRow.State.TO_COMPLETE, 0),
        "to_complete": states.get(ImportRow.State.TO_COMPLETE, 0),
        **{name: source.counts.get(kind, 0) for name, kind in MADE_KINDS.items()},
        "products": source.counts.get("products", 0),
        "changed": source.counts.get("changed", 0),
        "columns": [
            {"column": head, "tells": field, "score": score}
            for head, field, score in heads
            if head or field
        ],
        "problems": [
            {"row": row.number, "column": field, "message": message}
            for row in waiting[:500]
            for field, message in row.why.items()
        ],
        "remarks": source.remarks,
    }


def shown_value(value: Any) -> Any:
    """Lists of things as lines of words, for people."""
    if not isinstance(value, list):
        return value
    return [
        " · ".join(str(part) for part in each.values() if part not in (None, ""))
        if isinstance(each, dict)
        else each
        for each in value
    ]
