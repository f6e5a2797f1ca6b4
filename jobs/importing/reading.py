"""From text to values: every problem of the sheet is collected with its row and column before
anything is written."""

from collections.abc import Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from typing import Any

from jobs.importing.columns import COLUMNS_BY_NAME, SHEET_COLUMNS, CellError
from jobs.importing.sheet import SheetRow

RowValues = dict[str, Any]


@dataclass(frozen=True)
class SheetProblem:
    """What is wrong, and where a person finds it in the spreadsheet."""

    row: int
    column: str
    message: str

    def __str__(self) -> str:
        return f"row {self.row}, column {self.column}: {self.message}"


@dataclass(frozen=True)
class ReadRow:
    """A row whose cells could all be read; empty cells are left out."""

    number: int
    values: RowValues


def read_rows(rows: Sequence[SheetRow]) -> tuple[list[ReadRow], list[SheetProblem]]:
    """All readable rows and all problems; rows with a problem are not among the former."""
    problems = unknown_columns(rows)
    read = []
    for row in rows:
        values, found = read_row(row)
        problems += found
        if not found:
            read.append(ReadRow(row.number, values))
    return read, problems


def unknown_columns(rows: Sequence[SheetRow]) -> list[SheetProblem]:
    """A column we do not know is a problem, not something to skip in silence."""
    names = rows[0].cells if rows else {}
    return [
        SheetProblem(1, name, f"is not a column of the sheet.{column_suggestion(name)}")
        for name in names
        if name not in COLUMNS_BY_NAME
    ]


def column_suggestion(name: str) -> str:
    close = get_close_matches(name, COLUMNS_BY_NAME, n=1)
    return f" Did you mean {close[0]}?" if close else " Leave it out, or put its text into notes."


def read_row(row: SheetRow) -> tuple[RowValues, list[SheetProblem]]:
    values: RowValues = {}
    problems = []
    for column in SHEET_COLUMNS:
        cell = row.cells.get(column.name, "")
        if not cell:
            if column.is_required:
                problems.append(
                    SheetProblem(row.number, column.name, "is empty and must be filled")
                )
            continue
        try:
            values[column.name] = column.read(cell)
        except CellError as error:
            problems.append(SheetProblem(row.number, column.name, str(error)))
    return values, problems
