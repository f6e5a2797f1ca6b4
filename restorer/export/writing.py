"""Writes an export: each table as CSV and JSON, what the columns mean, and the files of the book.

The same book gives the same bytes: rows in order of their keys, files in order of their names, no
time of now.
"""

import csv
import json
from collections.abc import Iterable, Iterator
from contextlib import nullcontext
from io import StringIO
from pathlib import Path
from typing import IO, Any
from zipfile import ZIP_DEFLATED, ZIP_STORED, ZipFile, ZipInfo

from django.conf import settings
from django.core.files.storage import default_storage
from django.db import connection, models, transaction

from clients.tables import escape_formula
from restorer.backup import stored_file_names
from restorer.export.columns import (
    cell,
    described_columns,
    exported_columns,
    exported_models,
    table_rows,
)
from restorer.export.problem import ExportError

LAYOUT = 1  # of the export; a later one is refused on reading
ABOUT = "about.json"
COLUMNS = "columns.csv"
TABLES = "tables/"
FILES = "files/"
FIXED_TIME = (1980, 1, 1, 0, 0, 0)  # the first that a ZIP file knows
PACKED = {".jpg", ".jpeg", ".png", ".webp", ".pdf"}  # would not become smaller
ROWS_A_BLOCK = 1000
Member = tuple[str, Iterable[bytes]]


def write_zip(out: IO[bytes]) -> None:
    with book_moment(), ZipFile(out, "w") as archive:
        for name, blocks in export_members():
            info = ZipInfo(name, FIXED_TIME)
            info.external_attr = 0o600 << 16
            info.compress_type = ZIP_STORED if Path(name).suffix in PACKED else ZIP_DEFLATED
            with archive.open(info, "w", force_zip64=True) as member:
                for block in blocks:
                    member.write(block)


def write_export(path: Path) -> None:
    """As a ZIP file if the name ends so, else as a folder; neither may be there."""
    if path.exists() and not (path.is_dir() and not any(path.iterdir())):
        raise ExportError(f"{path} is there already. Name another.")
    try:
        if path.suffix == ".zip":
            with path.open("xb") as file:
                write_zip(file)
        else:
            write_folder(path)
    except OSError as mistake:
        if path.suffix == ".zip":
            path.unlink(missing_ok=True)
        raise ExportError(f"{path} cannot be written: {mistake.strerror or mistake}.") from mistake


def write_folder(path: Path) -> None:
    with book_moment():
        for name, blocks in export_members():
            target = path / name
            target.parent.mkdir(parents=True, exist_ok=True)
            with target.open("xb") as file:
                file.writelines(blocks)


def book_moment() -> Any:
    """All of it is of one moment."""
    return nullcontext() if connection.in_atomic_block else one_snapshot()


class one_snapshot(transaction.Atomic):  # noqa: N801 - used as what it extends
    def __init__(self) -> None:
        super().__init__(using=None, savepoint=True, durable=True)

    def __enter__(self) -> None:
        super().__enter__()
        with connection.cursor() as cursor:
            cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ READ ONLY")


def export_members() -> Iterator[Member]:
    """Name and content of each file of the export."""
    models_in = exported_models()
    about = {
        "layout": LAYOUT,
        "release": settings.RELEASE,
        "tables": {model._meta.db_table: model._base_manager.count() for model in models_in},
    }
    yield ABOUT, [json.dumps(about, indent=1, sort_keys=True).encode()]
    yield COLUMNS, csv_blocks(described_columns(), ["table", "column", "kind", *DESCRIBED])
    for model in models_in:
        name = f"{TABLES}{model._meta.db_table}"
        columns = [column.name for column in exported_columns(model)]
        yield f"{name}.csv", csv_blocks(table_rows(model), columns)
        yield f"{name}.json", json_blocks(model)
    for name in stored_file_names():
        yield f"{FILES}{name}", stored_blocks(name)


DESCRIBED = ["may_be_empty", "values", "meaning"]


def csv_blocks(rows: Iterable[dict[str, Any]], columns: list[str]) -> Iterator[bytes]:
    """RFC 4180, UTF-8; a text that a spreadsheet would run as a formula gets an apostrophe."""
    sheet = StringIO()
    writer = csv.DictWriter(sheet, columns, lineterminator="\r\n")
    writer.writeheader()
    for number, row in enumerate(rows, 1):
        writer.writerow({name: escape_formula(cell(value)) for name, value in row.items()})
        if number % ROWS_A_BLOCK == 0:
            yield drain(sheet)
    yield drain(sheet)


def drain(sheet: StringIO) -> bytes:
    content = sheet.getvalue().encode()
    sheet.seek(0)
    sheet.truncate()
    return content


def json_blocks(model: type[models.Model]) -> Iterator[bytes]:
    """A list of objects, one a line."""
    between = b"[\n"
    for row in table_rows(model):
        yield between + json.dumps(row, ensure_ascii=False).encode()
        between = b",\n"
    yield b"\n]\n" if between != b"[\n" else b"[]\n"


def stored_blocks(name: str) -> Iterator[bytes]:
    with default_storage.open(name) as file:
        yield from file.chunks()
