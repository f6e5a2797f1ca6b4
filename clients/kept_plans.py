"""Statements that pages ask again and again in the same words: written out once, and planned by
PostgreSQL once a connection, where no pooler stands between (docs/server.md, “Behind a pooler”)."""

from typing import Any
from weakref import WeakKeyDictionary

from django.conf import settings
from django.db import NotSupportedError, connection
from django.db.models import QuerySet

MAX_KEPT = 50  # of one connection; what comes after is planned each time
names_by_connection: WeakKeyDictionary[Any, dict[str, str]] = WeakKeyDictionary()


def written_out(rows: QuerySet[Any, Any]) -> str:
    """The statement with its values in it, to be kept as long as these stay the same."""
    sql, values = rows.query.sql_with_params()
    connection.ensure_connection()
    return str(connection.ops.compose_sql(sql, values))  # type: ignore[attr-defined] # PostgreSQL's


def fetch_by_kept_plan(sql: str) -> list[tuple[Any, ...]]:
    """All rows. A new release may have changed the type of a column meanwhile: then the connection,
    and every plan of it, is made anew."""
    try:
        return fetch(sql)
    except NotSupportedError:
        if connection.in_atomic_block:
            raise
        connection.close()
        return fetch(sql)


def fetch(sql: str) -> list[tuple[Any, ...]]:
    with connection.cursor() as cursor:
        cursor.execute(kept_statement(cursor, sql))
        return list(cursor.fetchall())


def kept_statement(cursor: Any, sql: str) -> str:
    """What asks for it by its plan; the statement itself where plans are not kept."""
    names = names_by_connection.setdefault(connection.connection, {})
    if settings.POOLED_DATABASE or (sql not in names and len(names) == MAX_KEPT):
        return sql
    if sql not in names:
        name = f"kept_{len(names)}"
        cursor.execute(f"PREPARE {name} AS {sql}")
        names[sql] = name
    return f"EXECUTE {names[sql]}"
