"""Rows printed by commands: a table for people, JSON or CSV for programs; rows that a page gives
away: CSV or a workbook. Keys are documented in docs/commands.md."""

import csv
import io
import json
from argparse import ArgumentParser
from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime
from decimal import Decimal
from typing import Any, TextIO, cast

from django.core.management.base import OutputWrapper
from django.http import HttpResponse
from django.utils.functional import Promise

OUTPUT_FORMATS = ["table", "json", "csv"]
FILE_FORMATS = {
    "csv": "text/csv; charset=utf-8",
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
}
OutputRow = Mapping[str, Any]


def add_format_option(parser: ArgumentParser) -> None:
    """The `--format` option, the same for every command that prints rows."""
    parser.add_argument(
        "--format", choices=OUTPUT_FORMATS, default="table", help="How to print (default: table)."
    )


def plain_value(value: Any) -> Any:
    """Dates as ISO 8601; decimals as strings, so that no digit is lost;
    words as they read in the language in force."""
    if isinstance(value, date | datetime):
        return value.isoformat()
    return str(value) if isinstance(value, Decimal | Promise) else value


def write_rows(
    rows: Iterable[OutputRow], *, format: str, out: TextIO | OutputWrapper, columns: Sequence[str]
) -> None:
    """Write the named columns of each row, in that order."""
    chosen = [{column: plain_value(row.get(column)) for column in columns} for row in rows]
    {"table": write_table, "json": write_json, "csv": write_csv}[format](chosen, out, columns)


def write_json(
    rows: list[dict[str, Any]], out: TextIO | OutputWrapper, columns: Sequence[str]
) -> None:
    out.write(json.dumps(rows, ensure_ascii=False, indent=2) + "\n")


def write_csv(
    rows: list[dict[str, Any]], out: TextIO | OutputWrapper, columns: Sequence[str]
) -> None:
    writer = csv.DictWriter(cast(TextIO, out), columns, lineterminator="\r\n")
    writer.writeheader()
    writer.writerows(
        [{column: escape_formula(value) for column, value in row.items()} for row in rows]
    )


def escape_formula(value: Any) -> Any:
    """Text that a spreadsheet would run as a formula gets a leading apostrophe;
    numbers keep their sign."""
    if (
        isinstance(value, str)
        and value[:1] in {"=", "+", "-", "@", "\t", "\r"}
        and not is_numeric_text(value)
    ):
        return "'" + value
    return value


def is_numeric_text(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True


def write_table(
    rows: list[dict[str, Any]], out: TextIO | OutputWrapper, columns: Sequence[str]
) -> None:
    table = [list(columns)] + [
        ["" if row[name] is None else table_cell(row[name]) for name in columns] for row in rows
    ]
    widths = [max(len(line[place]) for line in table) for place in range(len(columns))]
    for line in table:
        out.write(
            "  ".join(cell.ljust(width) for cell, width in zip(line, widths, strict=True)).rstrip()
            + "\n"
        )
    out.write(f"({len(rows)} rows)\n" if len(rows) != 1 else "(1 row)\n")


def table_cell(value: Any) -> str:
    if isinstance(value, list):
        return "; ".join(map(str, value))
    if isinstance(value, dict):
        return "; ".join(f"{key} {part}" for key, part in value.items())
    return str(value)


def attachment_response(body: bytes, content_type: str, name: str) -> HttpResponse:
    disposition = f'attachment; filename="{name}"'
    return HttpResponse(
        body, content_type=content_type, headers={"Content-Disposition": disposition}
    )


def table_response(
    rows: Iterable[OutputRow], *, format: str, name: str, columns: Sequence[str]
) -> HttpResponse:
    """The rows as a file of one of `FILE_FORMATS`, called `name` and its ending."""
    if format == "xlsx":
        from clients.tables.workbook import workbook_bytes

        body = workbook_bytes(rows, columns)
    else:
        out = io.StringIO()
        write_rows(rows, format=format, out=out, columns=columns)
        body = out.getvalue().encode("utf-8-sig")
    return attachment_response(body, FILE_FORMATS[format], f"{name}.{format}")
