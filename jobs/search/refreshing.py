"""Writing the words of the search once at the end of a bulk load, instead of row by row."""

from collections.abc import Collection

from django.db import connection, transaction
from django.db.backends.utils import CursorWrapper

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
        write_words(cursor, numbers)


def write_words(cursor: CursorWrapper, client_ids: list[int] | None) -> None:
    cursor.execute("SELECT search_refresh(%s::bigint[])", [client_ids])
    cursor.execute("SET LOCAL restorer.search_later = 'off'")


def note_unwritten(client_ids: Collection[int]) -> None:
    """Their words are written by `write_noted_words`, soon and in another transaction."""
    if client_ids:
        with connection.cursor() as cursor:
            cursor.execute(
                "INSERT INTO jobs_unwrittensearch (client_ids) VALUES (%s::bigint[])",
                [sorted(client_ids)],
            )


def write_noted_words() -> int:
    """What was noted and nobody else is at, each note in a transaction of its own; how many."""
    done = 0
    while write_one_note():
        done += 1
    return done


@transaction.atomic
def write_one_note() -> bool:
    """What it names was stored before, and the tables have statistics since."""
    with connection.cursor() as cursor:
        # a note that a crash brings back is written once more
        cursor.execute("SET LOCAL synchronous_commit = off")
        cursor.execute(
            "DELETE FROM jobs_unwrittensearch WHERE id = (SELECT id FROM jobs_unwrittensearch"
            " ORDER BY id LIMIT 1 FOR UPDATE SKIP LOCKED) RETURNING client_ids"
        )
        found = cursor.fetchone()
        if found:
            write_words(cursor, found[0])
    return bool(found)
