"""The database server's time zones, which may differ from ours: no statement may ask them."""

import re
from collections.abc import Callable
from typing import Any

from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.backends.signals import connection_created

# The operator, the function behind it, and what changes the zone that casts go by.
ASKED = re.compile(
    r"\bat\s+(time\s+zone|local)\b|\btimezone\s*\(|\bset\s+(local\s+|session\s+)?time\s*zone\b",
    re.IGNORECASE,
)


class ServersZoneError(AssertionError):
    """Have Python calculate the day or the hour and pass it in (docs/decisions/0025)."""


def refuse() -> None:
    """From now on, on every connection; a field asked by `__date` or Trunc asks them too."""
    connection_created.connect(watch)


def watch(connection: BaseDatabaseWrapper, **about: Any) -> None:
    if look_at not in connection.execute_wrappers:
        connection.execute_wrappers.insert(0, look_at)


def look_at(execute: Callable[..., Any], sql: Any, params: Any, many: bool, context: Any) -> Any:
    if ASKED.search(str(sql)):
        raise ServersZoneError(str(sql))
    return execute(sql, params, many, context)
