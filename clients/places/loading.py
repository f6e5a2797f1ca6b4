"""Brings the town table into the database."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from django.db import connection, transaction
from django.db.backends.utils import CursorWrapper

from clients.models import Place
from clients.places import tables

PLACE_TABLE = Place._meta.db_table


@dataclass(frozen=True, slots=True)
class LoadedTowns:
    towns: int
    was_current: bool


def load_towns(
    *, force: bool = False, report: Callable[[str], object] = lambda line: None
) -> LoadedTowns:
    """Replace all towns in one transaction; nothing is done when this edition is already there.

    The checksum of the edition is kept as the comment of the table, in the same transaction as its
    rows.
    """
    edition = f"towns.csv.gz sha256 {tables.checksum(tables.TOWNS_FILE)}"
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("SELECT pg_advisory_xact_lock(hashtext(%s))", [PLACE_TABLE])
        here = Place.objects.count()
        if here and not force and _loaded_edition(cursor) == f"{edition}, {here} rows":
            return LoadedTowns(here, True)
        report("Loading the towns…")
        count = _replace_towns(cursor)
        cursor.execute(f"COMMENT ON TABLE {PLACE_TABLE} IS '{edition}, {count} rows'")
    with connection.cursor() as cursor:
        cursor.execute(f"ANALYZE {PLACE_TABLE}")
    return LoadedTowns(count, False)


def _loaded_edition(cursor: CursorWrapper) -> str | None:
    cursor.execute("SELECT obj_description(%s::regclass, 'pg_class')", [PLACE_TABLE])
    row = cursor.fetchone()
    return row[0] if row else None


def _replace_towns(cursor: CursorWrapper) -> int:
    cursor.execute(f"TRUNCATE {PLACE_TABLE}")
    count = 0
    with cursor.copy(f"COPY {PLACE_TABLE} ({', '.join(tables.TOWN_COLUMNS)}) FROM STDIN") as copy:
        for row in _town_values():
            copy.write_row(row)
            count += 1
    return count


def _town_values() -> Iterator[list[str]]:
    for row in tables.town_rows():
        yield [row[column] for column in tables.TOWN_COLUMNS]
