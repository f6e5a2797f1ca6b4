"""Any file that a list may come in → its sheets as lines of text. Knows nothing of decks."""

from jobs.importing.files.calendars import CALENDAR_HEADER
from jobs.importing.files.lines import (
    MAX_LIST_BYTES,
    MAX_LIST_COLUMNS,
    MAX_LIST_ROWS,
    ListError,
    ListLine,
    RawSheet,
)
from jobs.importing.files.opening import read_pasted_cells, read_sheets

__all__ = [
    "CALENDAR_HEADER",
    "MAX_LIST_BYTES",
    "MAX_LIST_COLUMNS",
    "MAX_LIST_ROWS",
    "ListError",
    "ListLine",
    "RawSheet",
    "read_pasted_cells",
    "read_sheets",
]
