"""How actions save: one at a time where a second click must wait, and only what is new."""

from collections.abc import Mapping
from datetime import timedelta
from typing import Any, TypeVar

from django.db import connection, models

SECOND_CLICK_WINDOW = timedelta(minutes=10)
LockedRow = TypeVar("LockedRow", bound=models.Model)


class NameTakenError(ValueError):
    """Something in the book has this name already; the message says what to do. `field` names
    where."""

    def __init__(self, words: str, field: str = "name") -> None:
        super().__init__(words)
        self.field = field


def lock_row(row: LockedRow) -> LockedRow:
    """The row as it is now, kept from others until this transaction ends. Actions change this one:
    the one they were given may be older than what somebody else has just saved."""
    return type(row)._base_manager.select_for_update(no_key=True).get(pk=row.pk)


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


def holds_values(row: models.Model, values: Mapping[str, Any]) -> bool:
    """Whether a row says just this: the same form sent a second time."""
    return all(getattr(row, name) == value for name, value in values.items())
