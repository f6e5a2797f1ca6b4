"""Lists as files: CSV, JSON and workbooks, on a page or by command."""

from clients.tables.tabular import (
    FILE_FORMATS,
    add_format_option,
    attachment_response,
    escape_formula,
    plain_value,
    table_response,
    write_rows,
)
from clients.tables.workbook import workbook_bytes

__all__ = [
    "FILE_FORMATS",
    "add_format_option",
    "attachment_response",
    "escape_formula",
    "plain_value",
    "table_response",
    "workbook_bytes",
    "write_rows",
]
