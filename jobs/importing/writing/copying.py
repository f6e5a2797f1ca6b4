"""Rows of any model by COPY: no signals, no trail, keys known before."""

import json
from collections.abc import Mapping, Sequence
from functools import cache
from typing import Any

from django.contrib.postgres.fields import ArrayField
from django.db import connection
from django.db.models import Field, JSONField, Model
from django.db.models.fields import NOT_PROVIDED

Row = Mapping[str, Any]  # column → value


def next_keys(model: type[Model], count: int) -> list[int]:
    """Keys that nobody else will be given."""
    if not count:
        return []
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT nextval(pg_get_serial_sequence(%s, 'id')) FROM generate_series(1, %s)",
            [model._meta.db_table, count],
        )
        return [key for (key,) in cursor.fetchall()]


@cache
def defaults_of(model: type[Model]) -> dict[str, Any]:
    """Column → what stands in it unless a row says otherwise; columns that the database fills are
    left out."""
    found: dict[str, Any] = {}
    for each in model._meta.local_concrete_fields:
        if each.primary_key or each.db_default is not NOT_PROVIDED:
            continue
        found[str(each.column)] = (
            None if each.has_default() and callable(each.default) else (each.get_default())
        )
    return found


@cache
def called_defaults(model: type[Model]) -> dict[str, Any]:
    """Column → function that gives each row a value of its own."""
    return {
        str(each.column): each.default
        for each in model._meta.local_concrete_fields
        if each.has_default() and callable(each.default)
    }


@cache
def json_columns(model: type[Model]) -> frozenset[str]:
    fields: Sequence[Field[Any, Any]] = model._meta.local_concrete_fields
    return frozenset(
        str(each.column)
        for each in fields
        if isinstance(each, JSONField) and not isinstance(each, ArrayField)
    )


def insert_rows(model: type[Model], rows: Sequence[Row]) -> None:
    """Write the rows, which name their columns; all of them the same ones beyond the defaults."""
    if not rows:
        return
    base = defaults_of(model)
    called = called_defaults(model)
    columns = list(dict.fromkeys([*rows[0], *base]))
    as_json = json_columns(model)
    names = ", ".join(f'"{name}"' for name in columns)
    with (
        connection.cursor() as cursor,
        cursor.copy(f'COPY "{model._meta.db_table}" ({names}) FROM STDIN') as copy,
    ):
        for row in rows:
            values = []
            for name in columns:
                value = row[name] if name in row else base.get(name)
                if value is None and name in called and name not in row:
                    value = called[name]()
                values.append(json.dumps(value) if name in as_json else value)
            copy.write_row(values)
