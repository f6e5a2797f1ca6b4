"""Rows as a workbook with one sheet (Office Open XML, ISO/IEC 29500)."""

import io
from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from decimal import Decimal
from typing import Any

from openpyxl import Workbook
from openpyxl.cell import WriteOnlyCell
from openpyxl.cell.cell import ILLEGAL_CHARACTERS_RE
from openpyxl.styles import Font
from openpyxl.utils import get_column_letter

MAX_COLUMN_WIDTH = 60  # characters


def workbook_bytes(rows: Iterable[Mapping[str, Any]], columns: Sequence[str]) -> bytes:
    """A head that stays in sight; numbers and days stay numbers and days, and no text is run as a
    formula."""
    lines = [[sheet_value(row.get(column)) for column in columns] for row in rows]
    book = Workbook(write_only=True)
    sheet = book.create_sheet()
    sheet.freeze_panes = "A2"
    for place, column in enumerate(columns):
        longest = max([len(column), *(len(str(line[place])) for line in lines)])
        sheet.column_dimensions[get_column_letter(place + 1)].width = min(
            longest + 2, MAX_COLUMN_WIDTH
        )
    head = [text_cell(sheet, column) for column in columns]
    for cell in head:
        cell.font = Font(bold=True)
    sheet.append(head)
    for line in lines:
        sheet.append([text_cell(sheet, each) if isinstance(each, str) else each for each in line])
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def sheet_value(value: Any) -> Any:
    """What a cell can hold; all else as its text."""
    if value is None or isinstance(value, int | float | Decimal | date):
        return value
    if isinstance(value, list):
        return "; ".join(map(str, value))
    return ILLEGAL_CHARACTERS_RE.sub("", str(value))


def text_cell(sheet: Any, text: str) -> WriteOnlyCell:
    cell = WriteOnlyCell(sheet, text)
    cell.data_type = "s"  # what begins with = is text too
    return cell
