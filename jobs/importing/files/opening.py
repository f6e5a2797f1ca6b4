"""What kind of file it is, by what it holds rather than by its name."""

from collections.abc import Callable, Iterator

from jobs.importing.files.calendars import calendar_lines, is_calendar
from jobs.importing.files.cards import card_lines, is_cards
from jobs.importing.files.delimited import delimited_lines
from jobs.importing.files.lines import MAX_LIST_BYTES, ListError, RawSheet, filled_lines
from jobs.importing.files.workbook import is_workbook, workbook_sheets

LineReader = Callable[[bytes, list[str]], Iterator[tuple[int, list[str]]]]


def read_sheets(content: bytes) -> Iterator[RawSheet]:
    """The sheets of a file. Raises ListError."""
    if len(content) > MAX_LIST_BYTES:
        raise ListError(
            f"The file is larger than {MAX_LIST_BYTES // 1024**2} MB. Split it into several files."
        )
    if not content.strip():
        raise ListError("The file is empty. Choose the list with your clients.")
    if is_workbook(content):
        yield from workbook_sheets(content)
        return
    remarks: list[str] = []
    yield RawSheet("", filled_lines(reader_of(content)(content, remarks)), remarks)


def reader_of(content: bytes) -> LineReader:
    if is_cards(content):
        return card_lines
    return calendar_lines if is_calendar(content) else delimited_lines


def read_pasted_cells(text: str) -> Iterator[RawSheet]:
    """Cells copied from a spreadsheet (tabs) or lines of a CSV file."""
    yield from read_sheets(text.encode())
