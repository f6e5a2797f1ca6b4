"""The database of a backup: dumped from one snapshot, restored beside the book, compared, swapped.

By pg_dump, pg_restore and psql of the PostgreSQL programs that the program itself brings, or PG_BIN
names: the newest there are, since each reads what older servers and dumps hold.
"""

import os
import subprocess
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from tempfile import TemporaryFile
from typing import IO, Any

from django.db import DatabaseError, connection
from psycopg.conninfo import make_conninfo
from psycopg.pq import Conninfo

from restorer.backup.manifest import Manifest, TableRecord
from restorer.backup.problem import BackupError
from restorer.local.postgres_programs import postgres_version, program_dirs

# Of the moment only: who is signed in, what the task worker has before it, which loop lives, files
# on their way.
WITHOUT_ROWS = [
    *("django_session", "restorer_cache", "django_q_ormq", "clients_heartbeat"),
    "clients_uploadpart",
]
HEAD_LINES = 60  # of a dump as SQL: its settings stand there
# pg_dump of 17 and later sets it, and servers before 17 do not know it
UNKNOWN_BEFORE_17 = b"SET transaction_timeout = 0;\n"
TABLES_SQL = """
SELECT c.relname FROM pg_class c JOIN pg_namespace n ON n.oid = c.relnamespace
WHERE n.nspname = 'public' AND c.relkind IN ('r', 'p') AND NOT EXISTS (
    SELECT FROM pg_depend d WHERE d.objid = c.oid AND d.deptype = 'e')
ORDER BY c.relname COLLATE "C"
"""
# Rows as text, 60 bits of the MD5 of each, added up: the order of rows does not matter.
CHECKSUM_SQL = """
SELECT count(*), coalesce(sum(('x' || substr(md5(t::text), 1, 15))::bit(60)::bigint), 0)::text
FROM {} t
"""
# How values are written as text must not depend on whose connection it is; Django's is in UTC.
TEXT_SETTINGS = """
SET LOCAL datestyle = 'ISO, YMD'; SET LOCAL intervalstyle = 'postgres';
SET LOCAL extra_float_digits = 1; SET LOCAL bytea_output = 'hex'; SET LOCAL search_path = public
"""


@dataclass(frozen=True)
class Snapshot:
    """One moment of the book, for pg_dump and for our own sums."""

    name: str
    tables: dict[str, TableRecord]
    migrations: dict[str, list[str]]


@contextmanager
def book_snapshot() -> Iterator[Snapshot]:
    """The transaction stays open as long as somebody reads by the snapshot."""
    connection.close()  # a connection of its own: the last transaction may have set what it liked
    with connection.cursor() as cursor:
        cursor.execute("BEGIN TRANSACTION ISOLATION LEVEL REPEATABLE READ READ ONLY")
        try:
            cursor.execute("SELECT pg_export_snapshot()")
            name = cursor.fetchone()[0]
            cursor.execute("SELECT app, name FROM django_migrations ORDER BY app, name")
            migrations: dict[str, list[str]] = {}
            for app, migration in cursor.fetchall():
                migrations.setdefault(app, []).append(migration)
            yield Snapshot(name, sum_tables(cursor), migrations)
        finally:
            cursor.execute("ROLLBACK")


def sum_tables(cursor: Any) -> dict[str, TableRecord]:
    """Rows and checksum of each table whose rows are kept."""
    cursor.execute(TEXT_SETTINGS)
    cursor.execute(TABLES_SQL)
    names = [row[0] for row in cursor.fetchall() if row[0] not in WITHOUT_ROWS]
    found = {}
    for name in names:
        cursor.execute(CHECKSUM_SQL.format(connection.ops.quote_name(name)))
        found[name] = TableRecord(*cursor.fetchone())
    return found


def server_version() -> int:
    """The major version of the server."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT current_setting('server_version_num')::int / 10000")
        return int(cursor.fetchone()[0])


def program(name: str, *, version: int) -> Path:
    """One of PostgreSQL's programs, of the server's version or a later one."""
    there = [(postgres_version(directory, name), directory / name) for directory in program_dirs()]
    fit = [(own_version, path) for own_version, path in there if own_version >= version]
    if not fit:
        raise BackupError(
            f"No {name} of PostgreSQL {version} or later was found. Install PostgreSQL's client"
            " programs of that version, or set PG_BIN to their directory."
        )
    return max(fit)[1]


def connection_of(database: str) -> tuple[str, dict[str, str]]:
    """How PostgreSQL's programs find a database of our server: an argument, and an environment
    by which a password travels unseen."""
    known = {option.keyword.decode() for option in Conninfo.get_defaults()}
    parameters = {**connection.get_connection_params(), "dbname": database}
    password = parameters.pop("password", "")
    told = {key: value for key, value in parameters.items() if key in known}
    return make_conninfo(**told), {**os.environ, **({"PGPASSWORD": password} if password else {})}


def dump_book(target: Path, snapshot: Snapshot) -> None:
    version = server_version()
    address, environment = connection_of(book_name())
    options = ["--format=custom", "--no-owner", "--no-acl", "--no-comments"]
    left_out = [f"--exclude-table-data=public.{name}" for name in WITHOUT_ROWS]
    command = [
        str(program("pg_dump", version=version)),
        f"--dbname={address}",
        *options,
        *left_out,
        f"--snapshot={snapshot.name}",
        f"--file={target}",
    ]
    run_program(command, environment)


def run_program(command: list[str], environment: dict[str, str]) -> None:
    answer = subprocess.run(  # noqa: S603
        command, env=environment, capture_output=True, text=True, check=False
    )
    require_success(answer.returncode, command[0], answer.stderr)


def require_success(code: int, name: str, said: str) -> None:
    if code:
        last = said.strip().splitlines()[-3:]
        raise BackupError(f"{Path(name).name} ended with {code}: {' '.join(last)}")


def book_name() -> str:
    return str(connection.settings_dict["NAME"])


def load_dump(dump: Path, database: str) -> None:
    """All of it or nothing."""
    version = server_version()
    address, environment = connection_of(database)
    reading = [str(program("pg_restore", version=version)), "--no-owner", "--no-acl"]
    writing = [
        str(program("psql", version=version)),
        f"--dbname={address}",
        "--no-psqlrc",
        "--quiet",
    ]
    writing += ["--single-transaction", "--set=ON_ERROR_STOP=1"]
    reading += ["--file=-", str(dump)]
    with TemporaryFile() as complaints, TemporaryFile() as told:
        source = subprocess.Popen(reading, stdout=subprocess.PIPE, stderr=complaints)  # noqa: S603
        sink = subprocess.Popen(  # noqa: S603
            writing,
            env=environment,
            stdin=subprocess.PIPE,
            stdout=subprocess.DEVNULL,
            stderr=told,
        )
        with source, sink:
            assert source.stdout  # noqa: S101 - both are pipes
            assert sink.stdin  # noqa: S101
            pass_on(source.stdout, sink.stdin, version)
        require_success(source.returncode, reading[0], text_of(complaints))
        require_success(sink.returncode, writing[0], text_of(told))


def text_of(file: IO[bytes]) -> str:
    file.seek(0)
    return file.read().decode(errors="replace")


def pass_on(source: IO[bytes], sink: IO[bytes], version: int) -> None:
    """From pg_restore to psql, without the setting that an older server does not know."""
    try:
        for line in islice(source, HEAD_LINES):
            if version >= 17 or line != UNKNOWN_BEFORE_17:
                sink.write(line)
        while block := source.read(1024 * 1024):
            sink.write(block)
        sink.close()
    except BrokenPipeError:
        while source.read(1024 * 1024):
            pass  # psql has ended and says why


@contextmanager
def scratch_database() -> Iterator[str]:
    """A database beside the book, dropped again unless it took another name meanwhile."""
    require_right_to_make()
    drop_left_over()
    name = f"{book_name()[:40]}_trial_{uuid.uuid4().hex[:8]}"
    run_on_server(f"CREATE DATABASE {connection.ops.quote_name(name)}")
    try:
        yield name
    finally:
        run_on_server(f"DROP DATABASE IF EXISTS {connection.ops.quote_name(name)} WITH (FORCE)")


def drop_left_over() -> None:
    """What a trial that was killed left; nobody else's, since one runs at a time."""
    beginning = f"{book_name()[:40]}_trial_"
    with server_cursor() as cursor:
        cursor.execute(
            "SELECT datname FROM pg_database WHERE starts_with(datname, %s)", [beginning]
        )
        for (name,) in cursor.fetchall():
            cursor.execute(f"DROP DATABASE {connection.ops.quote_name(name)} WITH (FORCE)")


def run_on_server(*statements: str) -> None:
    """Several are one transaction."""
    with server_cursor() as cursor:
        cursor.execute(";".join(statements))


@contextmanager
def server_cursor() -> Iterator[Any]:
    """Outside of any database of ours, even where the book is in that which servers come with."""
    if book_name() != "postgres":
        with connection._nodb_cursor() as cursor:
            yield cursor
        return
    with connected_to("template1"), connection.cursor() as cursor:
        yield cursor


def require_right_to_make() -> None:
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT rolcreatedb OR rolsuper, rolname FROM pg_roles WHERE rolname = current_user"
        )
        may, role = cursor.fetchone()
    if not may:
        raise BackupError(
            f"A backup is restored beside the book first, and {role} may not make databases. As"
            f" PostgreSQL's administrator run: ALTER ROLE {role} CREATEDB"
        )


@contextmanager
def connected_to(database: str) -> Iterator[None]:
    """Django's connection, for a while to another database of the same server."""
    usual = connection.settings_dict["NAME"]
    connection.close()
    connection.settings_dict["NAME"] = database
    try:
        yield
    finally:
        connection.close()
        connection.settings_dict["NAME"] = usual


def differences(manifest: Manifest, database: str) -> list[str]:
    """Tables that are not as they were when the backup was made, each with what is there."""
    with connected_to(database), connection.cursor() as cursor:
        cursor.execute("BEGIN")
        found = sum_tables(cursor)
        cursor.execute("ROLLBACK")
    told = []
    for name in sorted({*manifest.tables, *found}):
        was, now = manifest.tables.get(name), found.get(name)
        if was != now:
            told.append(f"{name}: {rows_of(was)} in the backup, {rows_of(now)} restored")
    return told


def rows_of(table: TableRecord | None) -> str:
    return f"{table.rows} rows ({table.checksum})" if table else "no table"


def others_connected() -> int:
    """How many other programs are connected to the book."""
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT count(*) FROM pg_stat_activity WHERE datname = current_database()"
            " AND pid <> pg_backend_pid() AND backend_type = 'client backend'"
        )
        return int(cursor.fetchone()[0])


def take_place_of_book(database: str) -> None:
    """The restored database gets the book's name, in one transaction with the empty one's going."""
    quoted = connection.ops.quote_name
    book, empty = quoted(book_name()), quoted(f"{book_name()[:40]}_trial_empty")
    connection.close()
    try:
        run_on_server(
            f"ALTER DATABASE {book} RENAME TO {empty}",
            f"ALTER DATABASE {quoted(database)} RENAME TO {book}",
        )
    except DatabaseError as mistake:
        raise BackupError(f"The restored book cannot take its place: {mistake}".strip()) from None
    run_on_server(f"DROP DATABASE {empty} WITH (FORCE)")
