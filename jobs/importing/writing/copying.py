"""Rows of any model by COPY: no signals, no trail, keys known before."""

import json
from collections.abc import Callable, Mapping, Sequence
from functools import cache
from typing import Any

from django.contrib.postgres.fields import ArrayField
from django.db import connection
from django.db.models import CharField, Field, JSONField, Model, TextField
from django.db.models.fields import NOT_PROVIDED

Row = Mapping[str, Any]  # column → value


def next_keys(model: type[Model], count: int) -> list[int]:
    """Keys that nobody else will be given."""
    if not count:
        return []
    with connection.cursor() as cursor:
        cursor.execute(
            "WITH keys AS MATERIALIZED (SELECT pg_get_serial_sequence(%s, 'id')::regclass AS name)"
            " SELECT nextval(keys.name) FROM keys, generate_series(1, %s)",
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
def text_array_columns(model: type[Model]) -> frozenset[str]:
    fields: Sequence[Field[Any, Any]] = model._meta.local_concrete_fields
    return frozenset(
        str(each.column)
        for each in fields
        if isinstance(each, ArrayField) and isinstance(each.base_field, TextField | CharField)
    )


def array_literal(values: Sequence[str]) -> str:
    """As PostgreSQL reads an array of texts (its manual, 8.15.2)."""
    quoted = ",".join(
        '"' + value.replace("\\", "\\\\").replace('"', '\\"') + '"' for value in values
    )
    return f"{{{quoted}}}"


@cache
def json_columns(model: type[Model]) -> frozenset[str]:
    fields: Sequence[Field[Any, Any]] = model._meta.local_concrete_fields
    return frozenset(
        str(each.column)
        for each in fields
        if isinstance(each, JSONField) and not isinstance(each, ArrayField)
    )


def as_it_is(value: Any) -> Any:
    return value


def writer_of(model: type[Model], name: str) -> Callable[[Any], Any]:
    """How a value of that column is handed to COPY."""
    if name in json_columns(model):
        return json.dumps
    return array_literal if name in text_array_columns(model) else as_it_is


def filler_of(model: type[Model], name: str) -> Callable[[], Any]:
    """What stands in that column of a row that does not say; the same text for all where it may
    be."""
    write = writer_of(model, name)
    make = called_defaults(model).get(name)
    if make is not None and make not in (dict, list):
        return lambda: write(make())
    value = make() if make else defaults_of(model).get(name)
    ready = None if value is None else write(value)
    return lambda: ready


def insert_rows(model: type[Model], rows: Sequence[Row]) -> None:
    """Write the rows, which name their columns; all of them the same ones beyond the defaults."""
    if not rows:
        return
    columns = list(dict.fromkeys([*rows[0], *defaults_of(model)]))
    plan = [(name, writer_of(model, name), filler_of(model, name)) for name in columns]
    names = ", ".join(f'"{name}"' for name in columns)
    with (
        connection.cursor() as cursor,
        cursor.copy(f'COPY "{model._meta.db_table}" ({names}) FROM STDIN') as copy,
    ):
        for row in rows:
            copy.write_row(
                [write(row[name]) if name in row else fill() for name, write, fill in plan]
            )
