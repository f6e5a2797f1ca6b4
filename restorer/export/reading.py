"""Reads an export back into an empty book: all of it or nothing."""

import json
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import IO, Any

from django.contrib.auth.hashers import make_password
from django.core.exceptions import ObjectDoesNotExist, ValidationError
from django.core.files.base import File
from django.core.files.storage import default_storage
from django.core.management.color import no_style
from django.db import Error, connection, models, transaction

from clients.messaging import outbox
from clients.models import User
from restorer.backup import what_is_there
from restorer.export.columns import Column, exported_columns, exported_models
from restorer.export.problem import ExportError
from restorer.export.writing import ABOUT, FILES, LAYOUT, TABLES

ROWS_AT_ONCE = 500


@contextmanager
def opened(path: Path) -> Iterator[Any]:
    """The export as a tree of files, folder or ZIP."""
    if path.is_dir():
        yield path
        return
    try:
        with zipfile.ZipFile(path) as archive:
            if wrong := archive.testzip():
                raise ExportError(f"{path} is damaged: {wrong} is not as it was written.")
            yield zipfile.Path(archive)
    except (zipfile.BadZipFile, OSError) as mistake:
        raise ExportError(f"{path} cannot be read as an export: {mistake}.") from mistake


def read_export(*, path: Path, now: datetime) -> int:
    """Into an empty book, which then is held; how many rows."""
    if there := what_is_there():
        raise ExportError(f"This book is not empty: it holds {there}. Nothing was changed.")
    with opened(path) as tree:
        require_whole(tree, path)
        try:
            with transaction.atomic():
                count = fill_tables(tree)
                store_all(tree / FILES.rstrip("/"))
                outbox.hold_book(now=now)
                with connection.cursor() as cursor:
                    cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
        except Error as mistake:
            said = str(mistake).strip().splitlines()[0]
            raise ExportError(
                f"The export does not fit together: {said}. Nothing was changed."
            ) from mistake
    return count


def require_whole(tree: Any, path: Path) -> None:
    """Made by us, of this layout, with every table that we have and no other."""
    try:
        about = json.loads((tree / ABOUT).read_text(encoding="utf-8"))
        layout, tables = about["layout"], set(about["tables"])
    except (OSError, KeyError, ValueError, TypeError) as mistake:
        raise ExportError(f"{path} is no export of this program: no {ABOUT} in it.") from mistake
    ours = {model._meta.db_table for model in exported_models()}
    if layout != LAYOUT or tables - ours:
        raise ExportError(f"{path} was made by release {about.get('release')}. Use that release.")
    for name in sorted(tables):
        if not (tree / f"{TABLES}{name}.json").exists():
            raise ExportError(f"{path} lacks {TABLES}{name}.json.")


def fill_tables(tree: Any) -> int:
    """What migrations put there goes first; order does not matter, as PostgreSQL looks at
    references when the transaction ends."""
    found = list(exported_models())
    quoted = connection.ops.quote_name
    count = 0
    with connection.cursor() as cursor:
        names = ", ".join(quoted(model._meta.db_table) for model in found)
        cursor.execute(f"TRUNCATE {names} CASCADE")
        for model in found:
            count += fill_table(model, tree / f"{TABLES}{model._meta.db_table}.json")
        for statement in connection.ops.sequence_reset_sql(no_style(), found):
            cursor.execute(statement)
    User.objects.update(password=make_password(None))
    return count


def fill_table(model: type[models.Model], file: Any) -> int:
    if not file.exists():
        return 0  # a table that this release has added
    columns = {column.name: column for column in exported_columns(model)}
    name = model._meta.db_table
    try:
        rows = json.loads(file.read_text(encoding="utf-8"))
        made = [model(**row_values(row, columns)) for row in rows]
    except (ValueError, TypeError, KeyError, ValidationError, ObjectDoesNotExist) as mistake:
        raise ExportError(f"{TABLES}{name}.json: {mistake}. Nothing was changed.") from mistake
    fields = model._meta.concrete_fields
    for start in range(0, len(made), ROWS_AT_ONCE):
        # raw: columns that the program fills by itself keep what the export says
        model._base_manager.get_queryset()._insert(  # type: ignore[attr-defined]
            made[start : start + ROWS_AT_ONCE],
            fields=[field for field in fields if not field.generated],
            using=connection.alias,
            raw=True,
        )
    return len(made)


def row_values(row: dict[str, Any], columns: dict[str, Column]) -> dict[str, Any]:
    return {name: columns[name].read(value) for name, value in row.items()}


def store_all(tree: Any) -> None:
    for name, entry in files_below(tree, ""):
        with entry.open("rb") as file:
            store_one(name, file)


def files_below(tree: Any, prefix: str) -> Iterator[tuple[str, Any]]:
    if not tree.exists():
        return
    for entry in sorted(tree.iterdir(), key=lambda each: each.name):
        if entry.is_dir():
            yield from files_below(entry, f"{prefix}{entry.name}/")
        else:
            yield f"{prefix}{entry.name}", entry


def store_one(name: str, file: IO[bytes]) -> None:
    if default_storage.exists(name):
        with default_storage.open(name) as there:
            if there.read() != file.read():
                raise ExportError(
                    f"The photographs' folder holds another {name}. Nothing was changed."
                )
        return
    default_storage.save(name, File(file))
