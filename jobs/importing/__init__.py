"""Bringing an old client list in: one sheet, one row a job, all of it or nothing."""

from jobs.importing.import_book import ImportReport, import_book
from jobs.importing.sheet import SheetError

__all__ = ["ImportReport", "SheetError", "import_book"]
