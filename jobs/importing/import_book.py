"""Importing: read, check everything, write everything in one transaction, or
nothing."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from django.db import transaction

from clients.models import Business, User
from jobs import search
from jobs.actions.jobs import follow_job_changes
from jobs.importing.reading import ReadRow, SheetProblem, read_rows
from jobs.importing.sheet import read_sheet
from jobs.importing.writer import BookWriter, ImportTally


@dataclass(frozen=True)
class ImportReport:
    """What was made, or all the reasons why nothing was."""

    tally: ImportTally
    problems: Sequence[SheetProblem]


class _UndoError(Exception):
    """Rolls the transaction back after a dry run or a problem."""


def import_book(
    *, path: Path, business: Business, by: User | None, now: datetime, is_dry_run: bool = False
) -> ImportReport:
    """Import the sheet; raises SheetError when the file itself cannot be read."""
    rows, problems = read_rows(read_sheet(path))
    if problems:
        return ImportReport(ImportTally(), problems)
    writer = BookWriter(business=business, by=by, source=path.name, today=business.today(now))
    try:
        with transaction.atomic():
            problems = write_and_refresh(writer, rows, now)
            if problems or is_dry_run:
                raise _UndoError
    except _UndoError:
        pass
    return ImportReport(writer.tally, problems)


def write_and_refresh(
    writer: BookWriter, rows: Sequence[ReadRow], now: datetime
) -> list[SheetProblem]:
    """The rows, then once for all what is kept beside them: search words and forecasts."""
    search.search_later()
    problems = writer.write(rows)
    if problems:
        return problems
    search.refresh_search(writer.tally.client_ids)
    follow_job_changes(deck_ids=writer.tally.deck_ids, now=now)
    return []
