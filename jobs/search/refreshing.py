"""Writing the words of the search once at the end of a bulk load, instead of row by row."""

from collections.abc import Collection

from django.db import connection

MANY_CLIENTS = 1_000  # from here on the planner has to know how much was loaded


def search_later() -> None:
    """Until the end of this transaction nothing is written for the search; see
    `refresh_search`."""
    with connection.cursor() as cursor:
        cursor.execute("SET LOCAL restorer.search_later = 'on'")


def refresh_search(client_ids: Collection[int] | None = None) -> None:
    """Write the words of these clients (None: of all) again, and from here on with every row.

    What was loaded in the same transaction has no statistics, and planned without them it takes
    time by the square of its size: so they are made first.
    """
    numbers = None if client_ids is None else sorted(client_ids)
    with connection.cursor() as cursor:
        if numbers is not None and len(numbers) > MANY_CLIENTS:
            cursor.execute("SELECT search_analyze()")
        cursor.execute("SELECT search_refresh(%s::bigint[])", [numbers])
        cursor.execute("SET LOCAL restorer.search_later = 'off'")
