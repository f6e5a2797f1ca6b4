"""Reads a CSV or XLSX sheet into rows of text, whatever the encoding and the separator."""

import csv
import io
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from zipfile import BadZipFile

from openpyxl import load_workbook
from openpyxl.utils.exceptions import InvalidFileException

MAX_SHEET_BYTES = 50 * 1024 * 1024
MAX_SHEET_ROWS = 200_000


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
    if path.stat().st_size > MAX_SHEET_BYTES:
        raise SheetError(f"{path.name} is larger than 50 MB. Split it into several sheets.")
    lines = xlsx_lines(path) if path.suffix.lower() in {".xlsx", ".xlsm"} else csv_lines(path)
    header = [normalized_header(cell) for cell in next(lines, [])]
    check_header(path, header)
    return list(filled_rows(header, lines))


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


def filled_rows(header: list[str], lines: Iterator[list[str]]) -> Iterator[SheetRow]:
    for number, line in enumerate(lines, start=2):
        if number > MAX_SHEET_ROWS:
            raise SheetError(f"The sheet has more than {MAX_SHEET_ROWS:,} rows. Split it.")
        cells = {name: cell.strip() for name, cell in zip(header, line, strict=False) if name}
        if any(cells.values()):
            yield SheetRow(number, cells)


def csv_lines(path: Path) -> Iterator[list[str]]:
    text = decode_sheet(path.read_bytes())
    if "\x00" in text:
        raise SheetError(f"{path.name} is not a text file. Save the sheet as CSV or XLSX.")
    try:
        dialect: type[csv.Dialect] | str = csv.Sniffer().sniff(text[:20_000], ",;\t")
    except csv.Error:
        dialect = "excel"
    yield from csv.reader(io.StringIO(text, newline=""), dialect)


def decode_sheet(content: bytes) -> str:
    """UTF-8 or UTF-16 when marked or valid, else the old Western encoding of spreadsheets."""
    if content[:2] in {b"\xff\xfe", b"\xfe\xff"}:
        return content.decode("utf-16")
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError:
        return content.decode("cp1252", errors="replace")


def xlsx_lines(path: Path) -> Iterator[list[str]]:
    try:
        workbook = load_workbook(path, read_only=True, data_only=True)
    except (InvalidFileException, BadZipFile, KeyError, OSError) as error:
        raise SheetError(
            f"{path.name} cannot be read as a spreadsheet. Save it again as XLSX or CSV."
        ) from error
    try:
        for line in workbook.worksheets[0].iter_rows(values_only=True):
            yield [cell_text(cell) for cell in line]
    finally:
        workbook.close()


def cell_text(cell: object) -> str:
    """A cell as people see it: dates as ISO 8601, whole numbers without a point."""
    if cell is None:
        return ""
    if isinstance(cell, datetime):
        return cell.date().isoformat()
    if isinstance(cell, float) and cell.is_integer():
        return str(int(cell))
    return str(cell)
