"""Sheets of XLSX, XLS and ODS files, with merged cells filled down."""

import io
from collections.abc import Iterator
from datetime import date, datetime, time, timedelta
from zipfile import BadZipFile, ZipFile

from python_calamine import CalamineError, CalamineSheet, CalamineWorkbook, PasswordError

from jobs.importing.files.lines import MAX_UNPACKED_BYTES, ListError, RawSheet, filled_lines

ZIP_MARK = b"PK\x03\x04"
OLE_MARK = b"\xd0\xcf\x11\xe0"


def is_workbook(content: bytes) -> bool:
    return content[:4] in {ZIP_MARK, OLE_MARK}


def workbook_sheets(content: bytes) -> Iterator[RawSheet]:
    """All sheets that hold anything."""
    if content[:4] == ZIP_MARK:
        check_unpacked_size(content)
    try:
        workbook = CalamineWorkbook.from_filelike(io.BytesIO(content))
    except PasswordError as error:
        raise ListError(
            "The file is locked with a password. Save it without one and choose it again."
        ) from error
    except (CalamineError, OSError, ValueError) as error:
        raise ListError(
            "The file cannot be read as a spreadsheet. Save it again as XLSX or CSV."
        ) from error
    for name in workbook.sheet_names:
        sheet = open_sheet(workbook, name)
        if sheet is not None and sheet.height:
            remarks: list[str] = []
            yield RawSheet(name, filled_lines(sheet_lines(sheet, remarks)), remarks)


def check_unpacked_size(content: bytes) -> None:
    """What the file swells to, counted while unpacking it: its own word may lie."""
    try:
        with ZipFile(io.BytesIO(content)) as archive:
            left = MAX_UNPACKED_BYTES
            for member in archive.infolist():
                left -= member.file_size
                if left < 0:
                    raise ListError(
                        f"The file unpacks to more than {MAX_UNPACKED_BYTES // 1024**2} MB. Save"
                        " the list as CSV, or split it."
                    )
    except BadZipFile as error:
        raise ListError(
            "The file cannot be read as a spreadsheet. Save it again as XLSX or CSV."
        ) from error


def open_sheet(workbook: CalamineWorkbook, name: str) -> CalamineSheet | None:
    """None for a sheet that holds no cells, such as a chart."""
    try:
        return workbook.get_sheet_by_name(name)
    except (CalamineError, ValueError):
        return None


def sheet_lines(sheet: CalamineSheet, remarks: list[str]) -> Iterator[tuple[int, list[str]]]:
    """Each line under the number that the spreadsheet shows."""
    first = sheet.start[0] if sheet.start else 0
    left = sheet.start[1] if sheet.start else 0
    fill = merged_downwards(sheet)
    above: dict[int, str] = {}
    filled = 0
    for number, row in enumerate(sheet.iter_rows(), start=first):
        cells = [workbook_cell(cell) for cell in row]
        for column in fill.get(number, ()):
            place = column - left
            if 0 <= place < len(cells) and not cells[place]:
                cells[place] = above.get(place, "")
                filled += bool(cells[place])
        above = dict(enumerate(cells))
        yield number + 1, cells
    if filled:
        remarks.append(f"{filled:,} merged cells were filled down.")


def merged_downwards(sheet: CalamineSheet) -> dict[int, list[int]]:
    """Row → columns whose cell belongs to a merged one that began higher up (from 0)."""
    found: dict[int, list[int]] = {}
    for (top, left), (bottom, _) in sheet.merged_cell_ranges or []:
        for row in range(top + 1, bottom + 1):
            found.setdefault(row, []).append(left)
    return found


def workbook_cell(cell: object) -> str:
    """A cell as people see it: dates as ISO 8601, whole numbers without a point."""
    if isinstance(cell, str):
        return cell
    if isinstance(cell, datetime):
        return cell.date().isoformat()
    if isinstance(cell, date | time | timedelta):
        return str(cell)
    if isinstance(cell, float):
        return str(int(cell)) if cell.is_integer() else repr(round(cell, 6))
    return "" if cell is None else str(cell)
