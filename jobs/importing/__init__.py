"""Bringing an old client list in: any list by guessing and asking, or the documented sheet."""

from jobs.importing.asking import ListReading, book_facts, rows_of
from jobs.importing.files import MAX_LIST_BYTES, ListError
from jobs.importing.guessing import LIST_FIELDS
from jobs.importing.import_book import ImportReport, import_book
from jobs.importing.preview import ListPreview, preview_list
from jobs.importing.running import (
    ImportConflict,
    continue_imports,
    forget_list,
    import_now,
    leave_row_out,
    mend_row,
    reopen_import,
    save_answers,
    start_import,
    start_undoing,
)
from jobs.importing.sheet import SheetError
from jobs.importing.staging import stage_list, stage_pasted_cells
from jobs.importing.writing import what_was_built_on

__all__ = [
    "LIST_FIELDS",
    "MAX_LIST_BYTES",
    "ImportConflict",
    "ImportReport",
    "ListError",
    "ListPreview",
    "ListReading",
    "SheetError",
    "book_facts",
    "continue_imports",
    "forget_list",
    "import_book",
    "import_now",
    "leave_row_out",
    "mend_row",
    "preview_list",
    "reopen_import",
    "rows_of",
    "save_answers",
    "stage_list",
    "stage_pasted_cells",
    "start_import",
    "start_undoing",
    "what_was_built_on",
]
