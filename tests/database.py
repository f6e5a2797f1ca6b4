"""The database of the tests: migrated once and then copied for every worker;
emptied by its rows, not by its files."""

import gc
import hashlib
from pathlib import Path
from typing import Any

import django
from django.apps import apps
from django.core.management import call_command
from django.db import connection, transaction

TURN = 902_555_0100  # the number of an advisory lock: workers that start at once take turns
KEPT = {
    "django_migrations",
    "django_content_type",
    "auth_permission",
}  # made by migrating, read only

HAS_ROWS = "SELECT '{0}' WHERE EXISTS (SELECT FROM {0})"


def url_of_database() -> str:
    """For processes that a test starts: DATABASE_URL of the database that it uses itself."""
    connection.ensure_connection()
    there = connection.connection.info
    login = f"{there.user}:{there.password}".rstrip(":")
    return f"postgresql://{login}@/{there.dbname}?host={there.host}&port={there.port}"


def migrated() -> str:
    """The name of a database with every migration and no row, to copy from;
    made again when a migration has changed."""
    beginning = f"test_{connection.settings_dict['NAME']}_migrated_"
    name = beginning + fingerprint()
    with connection._nodb_cursor() as cursor:  # closed at its end, and the lock with it
        cursor.execute("SELECT pg_advisory_lock(%s)", [TURN])
        cursor.execute(
            "SELECT datname FROM pg_database WHERE starts_with(datname, %s)", [beginning]
        )
        there = {row[0] for row in cursor.fetchall()}
        if name not in there:
            for outdated in there:
                cursor.execute(f"DROP DATABASE {quoted(outdated)}")
            make(cursor, name)
    return name


def fingerprint() -> str:
    """Of all files of all migrations, our own and those of libraries."""
    digest = hashlib.sha256(django.__version__.encode())
    for config in apps.get_app_configs():
        for path in sorted(Path(config.path, "migrations").glob("*.[ps][yq]*")):
            digest.update(path.read_bytes())
    return digest.hexdigest()[:10]


def make(cursor: Any, name: str) -> None:
    """Under another name first: a migration that breaks off leaves nothing that looks whole."""
    half = f"{name}_half"
    usual = connection.settings_dict["NAME"]
    cursor.execute(f"CREATE DATABASE {quoted(half)}")
    connection.close()
    connection.settings_dict["NAME"] = half
    gc.disable()  # it would look at ten thousand model classes of the past again and again
    try:
        call_command("migrate", verbosity=0)
    finally:
        gc.enable()
        connection.close()
        connection.settings_dict["NAME"] = usual
    cursor.execute(f"ALTER DATABASE {quoted(half)} RENAME TO {quoted(name)}")


def empty(_: object = None) -> None:
    """After a test that commits: its rows go.
    Django's own way truncates all tables, which takes fifty times as long.

    No row refers to a table that is kept empty, so the order does not matter; triggers rest, or
    rows that may only be added could not go.
    """
    if not (tables := filled()):
        return
    with transaction.atomic(), connection.cursor() as cursor:
        for action in ("ALTER TABLE {} DISABLE TRIGGER USER", "DELETE FROM {}"):
            cursor.execute(";".join(action.format(table) for table in tables))
        cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
        cursor.execute(";".join(f"ALTER TABLE {table} ENABLE TRIGGER USER" for table in tables))


def filled() -> list[str]:
    """The tables that hold rows, quoted."""
    tables = [quoted(name) for name in sorted({*connection.introspection.table_names()} - KEPT)]
    with connection.cursor() as cursor:
        cursor.execute(" UNION ALL ".join(HAS_ROWS.format(table) for table in tables))
        return [row[0] for row in cursor.fetchall()]


def quoted(name: str) -> str:
    return connection.ops.quote_name(name)
