"""What a sheet is made of: its header, its headings, and what each column tells."""

from jobs.importing.guessing.contents import ContentReader
from jobs.importing.guessing.fields import FIELDS_BY_NAME, LIST_FIELDS, ListField
from jobs.importing.guessing.layout import CLIENT_HEAD, GROUP_HEAD, YEAR_HEAD, lay_out
from jobs.importing.guessing.matching import (
    ColumnGuess,
    guess_columns,
    unit_of_head,
    volume_unit_of_head,
)
from jobs.importing.guessing.sheet_layout import SheetLayout

__all__ = [
    "CLIENT_HEAD",
    "FIELDS_BY_NAME",
    "GROUP_HEAD",
    "LIST_FIELDS",
    "YEAR_HEAD",
    "ColumnGuess",
    "ContentReader",
    "ListField",
    "SheetLayout",
    "guess_columns",
    "lay_out",
    "unit_of_head",
    "volume_unit_of_head",
]
