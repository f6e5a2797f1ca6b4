"""The documented sheet: the first row names the columns, every row below is one job."""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from jobs.importing.files import MAX_LIST_BYTES, ListError, ListLine, RawSheet, read_sheets

WORKBOOK_SUFFIXES = {".xlsx", ".xlsm", ".xls", ".ods"}
TEXT_SHEET = ""  # the name of a sheet that is no part of a workbook


class SheetError(Exception):
    """The file as a whole cannot be read; the message says why and what to do."""


@dataclass(frozen=True)
class SheetRow:
    """One row: its number as the spreadsheet shows it, and its cells by column name."""

    number: int
    cells: dict[str, str]


def read_sheet(path: Path) -> list[SheetRow]:
    """All rows that hold something; the first row names the columns."""
    if not path.is_file():
        raise SheetError(f"There is no file {path}. Check the name.")
    if path.stat().st_size > MAX_LIST_BYTES:
        raise SheetError(f"{path.name} is larger than 50 MB. Split it into several sheets.")
    try:
        lines = only_sheet(path).lines
        header = [normalized_header(cell) for cell in first_cells(lines)]
        check_header(path, header)
        return [named_row(header, line) for line in lines]
    except ListError as error:
        raise SheetError(f"{path.name}: {error}") from error


def only_sheet(path: Path) -> RawSheet:
    """The one sheet with rows. Nothing is left out without a word: several are refused."""
    content = path.read_bytes()
    if not content.strip():
        check_header(path, [])
    sheets = list(read_sheets(content))
    if not sheets:
        check_header(path, [])
    if path.suffix.lower() in WORKBOOK_SUFFIXES and sheets[0].name == TEXT_SHEET:
        raise SheetError(
            f"{path.name} cannot be read as a spreadsheet. Save it again as XLSX or CSV."
        )
    if len(sheets) > 1:
        names = ", ".join(sheet.name for sheet in sheets)
        raise SheetError(
            f"{path.name} has several sheets: {names}. Keep one of them, or use --guess."
        )
    return sheets[0]


def first_cells(lines: Iterator[ListLine]) -> list[str]:
    line = next(lines, None)
    return line.cells if line else []


def normalized_header(cell: str) -> str:
    """A column name in the form used here: lower case, one underscore between words."""
    return "_".join(cell.strip().lower().replace("-", " ").replace("_", " ").split())


def check_header(path: Path, header: list[str]) -> None:
    if not any(header):
        raise SheetError(
            f"{path.name} is empty. The first row must name the columns, such as client and"
            " job_date."
        )
    twice = sorted({name for name in header if name and header.count(name) > 1})
    if twice:
        raise SheetError(f"{path.name} has the column {', '.join(twice)} twice. Keep one of them.")


def named_row(header: list[str], line: ListLine) -> SheetRow:
    """Every column of the header, empty ones too."""
    cells = line.cells + [""] * (len(header) - len(line.cells))
    return SheetRow(
        line.number, {name: cell for name, cell in zip(header, cells, strict=False) if name}
    )
