"""Everything out as CSV, JSON and files, and back into an empty book."""

from restorer.export.problem import ExportError
from restorer.export.reading import read_export
from restorer.export.writing import write_export, write_zip

__all__ = ["ExportError", "read_export", "write_export", "write_zip"]
