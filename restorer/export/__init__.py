"""Everything out as CSV, JSON and files, and back into an empty book."""

from restorer.export.one_client import client_columns, client_tables
from restorer.export.problem import ExportError
from restorer.export.reading import read_export
from restorer.export.writing import write_export, write_zip

__all__ = [
    "ExportError",
    "client_columns",
    "client_tables",
    "read_export",
    "write_export",
    "write_zip",
]
