"""Everything that the book keeps about one client: the right of access (GDPR Art. 15 and 20;
PIPEDA Sch. 1, 4.9).

Found by a walk over all tables that lead to a client, so that one that is added later is walked
too. Not of it: hashes and keys of the program, and the trail of who changed what.
"""

from typing import Any

from django.db import models

from clients.models import Client
from jobs.actions.erasing import paths_to_client
from restorer.export.columns import Column, exported_columns, exported_models, written

SECRET_ENDINGS = ("hash", "_key", "lease_token")


def client_tables(client: Client) -> dict[str, list[dict[str, Any]]]:
    """Table → its rows about this client, by columns; tables without any are left out."""
    ways_to_client = paths_to_client()
    found = {
        model._meta.db_table: rows_of_one_client(model, ways_to_client[model], client)
        for model in exported_models()
        if model in ways_to_client
    }
    return {table: rows for table, rows in found.items() if rows}


def rows_of_one_client(
    model: type[models.Model], ways: list[str], client: Client
) -> list[dict[str, Any]]:
    columns = [column for column in exported_columns(model) if not is_secret(column)]
    # One query a way: in one for all, each way multiplies the rows of the others.
    asked = [model._base_manager.filter(**{way: client.pk}).values_list("pk") for way in ways]
    keys = {key for way in asked for (key,) in way}
    rows = model._base_manager.filter(pk__in=keys).order_by("pk")
    return [
        {column.name: written(value) for column, value in zip(columns, row, strict=True)}
        for row in rows.values_list(*[column.name for column in columns])
    ]


def is_secret(column: Column) -> bool:
    """What proves or guards something, and says nothing about the client."""
    return column.name.endswith(SECRET_ENDINGS)


def client_columns(tables: dict[str, list[dict[str, Any]]]) -> list[dict[str, str]]:
    """What the columns of these tables mean."""
    return [
        column.description()
        for model in exported_models()
        if model._meta.db_table in tables
        for column in exported_columns(model)
        if not is_secret(column)
    ]
