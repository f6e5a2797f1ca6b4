"""What each command that reads or writes the book does first:
say which book it is, and see that its tables are there.
"""

from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError, OutputWrapper
from django.db import OperationalError, connection
from django.db.migrations.executor import MigrationExecutor

PREPARING = 902_555_0101  # number of the advisory lock: one makes the tables, the others wait
DEMO_NAME = "_demo"


class BookCommand(BaseCommand):
    """A command on the book. Called by another command it takes the book as open."""

    makes_tables = True  # those that are missing because nobody ran `serve` yet
    waits_for_database = False  # it has a loop that does

    def execute(self, *args: Any, **options: Any) -> str | None:
        if getattr(self, "_called_from_command_line", False):
            try:
                open_book(self.stderr, makes_tables=self.makes_tables)
            except OperationalError as error:
                if not self.waits_for_database:
                    raise CommandError(
                        f"The book's database does not answer: {str(error).strip()}"
                    ) from error
        return super().execute(*args, **options)


def open_book(out: OutputWrapper, *, makes_tables: bool) -> None:
    """Say which it is; refuse the wrong one, and one of another release."""
    name = str(connection.settings_dict["NAME"])
    refuse_wrong_book(name)
    out.write(f"Book: {book_words(name)}")
    out.flush()
    if makes_tables:
        ensure_tables(out)


def refuse_wrong_book(name: str) -> None:
    """The demo's book and a book of one's own are never taken for each other."""
    if settings.MODE == "demo" and not name.endswith(DEMO_NAME):
        raise CommandError(
            f"RESTORER_MODE is demo, and {name!r} is not the demo's database (its name ends in"
            f" {DEMO_NAME}). Unset RESTORER_MODE or DATABASE_URL."
        )
    if settings.MODE != "demo" and name.endswith(DEMO_NAME):
        raise CommandError(
            f"{name!r} is the demo's database. Set RESTORER_MODE=demo to work on it, or another"
            " DATABASE_URL."
        )


def book_words(name: str) -> str:
    """“your own, database restorer at db.example.com”; never a password."""
    kind = "the demo's" if settings.MODE == "demo" else "your own"
    host = str(connection.settings_dict.get("HOST") or "this machine")
    place = f"under {settings.VAR_DIR}" if settings.OWN_DATABASE else f"at {host}"
    return f"{kind}, database {name} {place}"


def ensure_tables(out: OutputWrapper) -> None:
    """An empty database gets its tables; one of another release is left as it is."""
    if not pending_changes():
        return
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_advisory_lock(%s)", [PREPARING])  # another may be at it
        try:
            if not connection.introspection.table_names(cursor):
                call_command("prepare", stdout=out)
            elif count := pending_changes():
                raise CommandError(
                    f"An older release made this book. Changes to make to its tables: {count}."
                    " Back it up with the older release, then run: python3 manage.py prepare"
                )
        finally:
            cursor.execute("SELECT pg_advisory_unlock(%s)", [PREPARING])


def pending_changes() -> int:
    """How many migrations the book lacks. Refuses one that a newer release made."""
    executor = MigrationExecutor(connection)
    known = set(executor.loader.disk_migrations)
    apps = {app for app, _ in known}
    newer = {each for each in set(executor.loader.applied_migrations) - known if each[0] in apps}
    if newer:
        raise CommandError(
            f"A newer release made this book ({'.'.join(min(newer))} is not known here). Use that"
            " release."
        )
    return len(executor.migration_plan(executor.loader.graph.leaf_nodes()))
