"""How actions save: one at a time where a second click must wait, and only what is new."""

from collections.abc import Mapping
from typing import Any

from django.db import connection, models


def lock_until_commit(what: str) -> None:
    """Hold everyone else who does the same, on any host, until this transaction ends, so that a
    second click waits and then sees."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_advisory_xact_lock(hashtextextended(%s, 0))", [what])


def save_if_changed(row: models.Model, values: Mapping[str, Any]) -> bool:
    """Set and save the values that are new, or all of a new row; whether it was saved."""
    is_new = row.pk is None  # what a new row lacks cannot be compared
    changed = [name for name in values if is_new or getattr(row, name) != values[name]]
    for name in changed:
        setattr(row, name, values[name])
    if is_new or changed:
        row.save(update_fields=None if is_new else changed)
    return is_new or bool(changed)
