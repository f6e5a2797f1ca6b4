"""An upgrade without a pause: requests go on in the old program while the new one migrates."""

import json
import os
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import quote

import psycopg
import pytest
from django.conf import settings

ROOT = Path(__file__).parents[2]
HERE = Path(__file__).parent
RELEASE_BEFORE = "fce7033e"  # 0.2, by docs/releases/README.md
DECKS = 2_000
DATABASE = "restorer_upgrade"
# A migration that is refused a lock for a quarter of a second gives up: nobody waits in line behind
# it, and of two that wait for each other it is the one that goes (PostgreSQL looks after a second).
MIGRATION_LOCKS = "-c lock_timeout=250"
# Requests wait while a migration holds one: here so long that a busy machine does not decide.
REQUEST_LOCKS = "-c lock_timeout=10000"
TRIES = 12

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(
        "UPGRADES" not in os.environ, reason="Takes minutes: UPGRADES=1 before a release."
    ),
]


@pytest.fixture
def old_checkout(tmp_path: Path) -> Path:
    """The release before, as it was committed."""
    packed = subprocess.run(
        ["git", "archive", RELEASE_BEFORE], cwd=ROOT, capture_output=True, check=False
    )
    if packed.returncode:
        pytest.skip("This is no checkout with the history of the project.")
    home = tmp_path / "old"
    home.mkdir()
    subprocess.run(["tar", "-x", "-C", str(home)], input=packed.stdout, check=True)
    return home


def connection_words(database: str) -> str:
    """The address of another database on the server of the tests."""
    server = settings.DATABASES["default"]
    login = quote(server["USER"] or "") + (
        f":{quote(server['PASSWORD'])}" if server["PASSWORD"] else ""
    )
    host = server["HOST"] or server.get("OPTIONS", {}).get("host", "")
    return f"postgresql://{login}@/{database}?host={quote(str(host), safe='')}" + (
        f"&port={server['PORT']}" if server["PORT"] else ""
    )


@pytest.fixture
def database_url() -> Iterator[str]:
    """An empty database beside those of the tests."""
    with psycopg.connect(connection_words("postgres"), autocommit=True) as connection:
        connection.execute(f"DROP DATABASE IF EXISTS {DATABASE} WITH (FORCE)")
        connection.execute(f"CREATE DATABASE {DATABASE}")
        yield connection_words(DATABASE)
        connection.execute(f"DROP DATABASE IF EXISTS {DATABASE} WITH (FORCE)")


def environment(home: Path, database: str, **more: str) -> dict[str, str]:
    """Of a program in this checkout, with its files apart from those of the tests."""
    return os.environ | {
        "DATABASE_URL": database,
        "DJANGO_SETTINGS_MODULE": "restorer.settings",
        "PYTHONPATH": str(home),
        "RESTORER_NO_VENV": "1",
        "RESTORER_VAR": str(home / "var-of-upgrade"),
        **more,
    }


def migrate(environ: dict[str, str]) -> None:
    """As docs/server.md says: again, where a lock was not to be had. Each migration is whole."""
    for _ in range(TRIES):
        run = subprocess.run(
            [sys.executable, "manage.py", "migrate", "--no-input", "-v", "0"],
            cwd=ROOT,
            env=environ,
            capture_output=True,
            text=True,
            check=False,
        )
        if not run.returncode:
            return
        assert "lock timeout" in run.stderr, run.stderr[-3000:]
    pytest.fail("No lock was to be had in twelve tries.")


def test_the_release_before_answers_while_this_one_migrates(
    old_checkout: Path, database_url: str, tmp_path: Path
) -> None:
    (stop, result) = (tmp_path / "stop", tmp_path / "answers.json")
    old = environment(old_checkout, database_url, LOG_LEVEL="ERROR")
    subprocess.run(
        [sys.executable, str(HERE / "old_book.py"), str(DECKS)],
        cwd=old_checkout,
        env=old,
        check=True,
    )
    serving = subprocess.Popen(
        [sys.executable, str(HERE / "old_requests.py"), str(stop), str(result)],
        cwd=old_checkout,
        env=old | {"PGOPTIONS": REQUEST_LOCKS},
    )
    new = environment(ROOT, database_url, RESTORER_VAR=str(tmp_path / "var"))
    try:
        time.sleep(5)  # the first pages are answered before anything changes
        migrate(new | {"PGOPTIONS": MIGRATION_LOCKS})
        time.sleep(5)  # and some after everything has
    finally:
        stop.touch()
        serving.wait(timeout=120)

    answers = Counter(status for _, status in json.loads(result.read_text()))
    assert set(answers) == {200}, answers
    assert answers[200] > 50
