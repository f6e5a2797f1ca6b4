"""A sheet as it is laid out, whichever way that was found."""

from collections.abc import Iterator
from dataclasses import dataclass, field

from jobs.importing.files import ListLine

NO_HEADINGS = ("", "", "")  # of a group, a year, a client: behind the cells of each row


@dataclass
class SheetLayout:
    """A header and the rows below it; what was skipped is known once the rows were gone through."""

    header: list[str]
    rows: Iterator[ListLine]
    remarks: list[str]
    group_heads: set[str] = field(default_factory=set)
    beginning: list[ListLine] = field(default_factory=list)  # the first rows below the header
    year_of_title: str = ""  # of the one line above it that names a year


def left_out(layout: SheetLayout, count: int, words: str) -> None:
    lines = "1 line" if count == 1 else f"{count:,} lines"
    layout.remarks.append(f"{lines} {words} {'was' if count == 1 else 'were'} left out.")
