"""What every reader gives: sheets, and in each its lines as people see them."""

from collections.abc import Iterator
from dataclasses import dataclass, field

MAX_LIST_BYTES = 50 * 1024 * 1024
MAX_UNPACKED_BYTES = 200 * 1024 * 1024
MAX_LIST_ROWS = 200_000
MAX_LIST_COLUMNS = 100


class ListError(Exception):
    """The file as a whole cannot be read; the message says why and what to do."""


@dataclass(frozen=True, slots=True)
class ListLine:
    """One line that is not empty: its number as the spreadsheet shows it, and its cells."""

    number: int
    cells: list[str]


@dataclass
class RawSheet:
    """One sheet of a file. `lines` can be gone through once; `remarks` is filled meanwhile."""

    name: str
    lines: Iterator[ListLine]
    remarks: list[str] = field(default_factory=list)


def clean_cell(text: str) -> str:
    """A cell without the blanks around it, nor what PostgreSQL cannot keep; the apostrophe that
    keeps a spreadsheet from running a formula goes."""
    text = text.replace("\x00", "").replace("\u00a0", " ").strip()
    return text[1:] if text[:1] == "'" and text[1:2] in {"=", "+", "-", "@"} else text


def filled_lines(lines: Iterator[tuple[int, list[str]]]) -> Iterator[ListLine]:
    """The lines that hold anything, within the limits; empty cells at their end are left out."""
    count = 0
    for number, raw in lines:
        cells = [clean_cell(cell) for cell in raw[:MAX_LIST_COLUMNS]]
        while cells and not cells[-1]:
            cells.pop()
        if not cells:
            continue
        count += 1
        if count > MAX_LIST_ROWS:
            raise ListError(
                f"The list has more than {MAX_LIST_ROWS:,} rows. Split it into several files."
            )
        yield ListLine(number, cells)
