"""What every command on the book does first: it says which book it is, sees to its tables, and
takes the demo's book for nobody else's."""

import io
import subprocess
import sys
import uuid
from pathlib import Path
from typing import Any

import pytest
from django.core.management import call_command, get_commands, load_command_class
from django.core.management.base import CommandError, OutputWrapper
from django.db import OperationalError, connection
from pytest_django import Settings

from clients.management.opening import BookCommand
from restorer import bootstrap
from restorer.management.commands import prepare
from restorer.settings import BASE_DIR
from tests.factories import BusinessFactory
from tests.restorer.conftest import NewBook
from tests.restorer.test_backup import environment_of

# they need no book, make it ready themselves, or are about another one
WITHOUT_A_BOOK = {
    "bench",
    "build_places",
    "check",
    "demo",
    "fake_gateway",
    "lock",
    "ordeal",
    "prepare",
    "serve",
    "test",
    "words",
}
OUR_APPS = {"clients", "jobs", "reminders", "restorer"}


def run(command: str, *arguments: str) -> None:
    """As from a shell, in this process."""
    app = get_commands()[command]
    loaded = load_command_class(app, command)
    loaded.run_from_argv(["manage.py", command, *arguments])


def refused(capsys: pytest.CaptureFixture[str], command: str, *arguments: str) -> str:
    with pytest.raises(SystemExit):
        run(command, *arguments)
    return capsys.readouterr().err


def test_each_command_opens_the_book_or_is_named_here() -> None:
    ours = {name: app for name, app in get_commands().items() if app in OUR_APPS}
    without = {
        name
        for name, app in ours.items()
        if not isinstance(load_command_class(app, name), BookCommand)
    }
    assert without == WITHOUT_A_BOOK


@pytest.mark.parametrize(
    ("command", "options", "needs"),
    [
        ("due", ["--help"], False),
        ("due", ["2027-03", "-h"], False),
        ("backup", ["--version"], False),
        ("help", ["due"], False),
        ("--help", [], False),
        ("lock", [], False),
        ("due", ["2027-03"], True),
        ("serve", [], True),
    ],
)
def test_who_only_asks_how_starts_no_server(
    monkeypatch: pytest.MonkeyPatch, command: str, options: list[str], needs: bool
) -> None:
    started: list[int] = []
    for name in ("ensure_environment", "ensure_libraries", "set_mode"):
        monkeypatch.setattr(bootstrap, name, lambda *_, **__: None)
    monkeypatch.setattr(bootstrap, "start_database", lambda: started.append(1))
    monkeypatch.delenv("DATABASE_URL", raising=False)
    bootstrap.prepare_environment(["manage.py", command, *options])
    assert bool(started) is needs


@pytest.mark.slow  # a database of its own
@pytest.mark.django_db(transaction=True)
def test_it_says_which_book_it_opened(
    new_book: NewBook, capsys: pytest.CaptureFixture[str]
) -> None:
    name = new_book()
    BusinessFactory()
    run("due", "2027-03", "--format", "json")
    told = capsys.readouterr()
    assert told.err.startswith(f"Book: your own, database {name} ")
    assert told.out == "[]\n"


@pytest.mark.slow  # a database of its own
@pytest.mark.django_db(transaction=True)
def test_a_book_of_another_release_is_left_as_it_is(
    new_book: NewBook, capsys: pytest.CaptureFixture[str]
) -> None:
    new_book()
    call_command("migrate", "restorer", "0003", verbosity=0)
    said = refused(capsys, "due", "2027-03")
    assert "An older release made this book. Changes to make to its tables: 1." in said
    assert "python3 manage.py prepare" in said
    call_command("migrate", verbosity=0)
    with connection.cursor() as cursor:
        cursor.execute(
            "INSERT INTO django_migrations (app, name, applied) VALUES ('jobs', '9999_x', now())"
        )
    assert "A newer release made this book (jobs.9999_x" in refused(capsys, "due", "2027-03")


@pytest.mark.django_db
def test_the_demos_book_and_ones_own_are_not_mixed_up(
    settings: Settings, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    settings.MODE = "demo"
    assert "is not the demo's database" in refused(capsys, "due", "2027-03")
    settings.MODE = "book"
    monkeypatch.setitem(connection.settings_dict, "NAME", "restorer_demo")
    assert "Set RESTORER_MODE=demo" in refused(capsys, "due", "2027-03")


@pytest.mark.slow  # makes all tables from nothing
@pytest.mark.django_db(transaction=True)
def test_a_command_before_the_first_serve_makes_the_tables(
    settings: Settings, tmp_path: Path, new_book: NewBook
) -> None:
    new_book()
    name = f"{connection.settings_dict['NAME'][:30]}_{uuid.uuid4().hex[:6]}"
    with connection._nodb_cursor() as cursor:
        cursor.execute(f"CREATE DATABASE {connection.ops.quote_name(name)}")
    environment = environment_of(tmp_path, settings)
    environment["DATABASE_URL"] = environment["DATABASE_URL"].replace(
        connection.settings_dict["NAME"], name
    )
    try:
        answer: Any = subprocess.run(
            [sys.executable, "manage.py", "due", "2027-03"],
            cwd=BASE_DIR,
            env=environment,
            capture_output=True,
            text=True,
            check=False,
        )
    finally:
        with connection._nodb_cursor() as cursor:
            cursor.execute(f"DROP DATABASE {connection.ops.quote_name(name)} WITH (FORCE)")
    assert answer.returncode == 1
    assert "Traceback" not in answer.stderr
    assert "Bringing the database up to date" in answer.stderr
    assert "There is no business yet" in answer.stderr
    assert answer.stdout == ""


@pytest.mark.django_db
def test_prepare_waits_for_a_database_that_starts_beside_it(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    answers = iter([OperationalError("connection refused"), None])

    def ensure_connection() -> None:
        if mistake := next(answers):
            raise mistake

    waited: list[float] = []
    monkeypatch.setattr(connection, "ensure_connection", ensure_connection)
    monkeypatch.setattr(prepare.time, "sleep", waited.append)
    said = io.StringIO()
    prepare.wait_for_database(OutputWrapper(said))
    assert waited == [2]
    assert "Waiting for the database: connection refused" in said.getvalue()


def test_prepare_gives_up_on_a_database_that_never_answers(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def ensure_connection() -> None:
        raise OperationalError("connection refused")

    monkeypatch.setattr(connection, "ensure_connection", ensure_connection)
    monkeypatch.setattr(prepare, "DATABASE_SECONDS", -1)
    with pytest.raises(CommandError, match="The database does not answer: connection refused"):
        prepare.wait_for_database(OutputWrapper(io.StringIO()))
