"""Backups through their commands and pages: what is restored is what was there, nothing damaged is
taken for whole, and a restored book sends nothing until somebody says so."""

import io
import json
import os
import resource
import signal
import subprocess
import sys
import tarfile
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pyrage
import pytest
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.core.management import CommandError, call_command
from django.db import connection
from django.test import Client as Browser
from django.utils import timezone
from pytest_django import Settings

from clients.messaging import channels, incoming, outbox
from clients.messaging.models import LetterBatch, Message
from clients.models import Business, Client, Deck, User
from reminders import tasks as reminder_tasks
from restorer import backup, tasks
from restorer.backup import archive, database
from restorer.backup.turn import HANDED_TURN
from restorer.models import BackupRun
from restorer.settings import BASE_DIR
from tests.factories import (
    BusinessFactory,
    DeckFactory,
    MessageFactory,
    PhotoFactory,
    ReminderStepFactory,
    UserFactory,
)
from tests.outbox import queued, states
from tests.paper_line import PaperLine
from tests.restorer.conftest import NewBook, stored

pytestmark = [pytest.mark.slow, pytest.mark.django_db(transaction=True)]
PHOTO = b"\xff\xd8\xff\xe0 not much of a picture"


@pytest.fixture
def filled(new_book: NewBook) -> str:
    """A small book with a photograph and a message that waits."""
    name = new_book()
    BusinessFactory()
    UserFactory(username="maren", role="owner")
    DeckFactory(label="Upper deck")
    queued(1)
    default_storage.save("decks/2026/11/a.jpg", ContentFile(PHOTO))
    default_storage.save("waiting/x/000-b.jpg", ContentFile(PHOTO))
    return name


@pytest.fixture
def made(filled: str, tmp_path: Path) -> Path:
    path = tmp_path / "book.backup"
    call_command("backup", path)
    return path


def refusal(command: str, *arguments: Any) -> str:
    with pytest.raises(CommandError) as caught:
        call_command(command, *arguments)
    return str(caught.value)


def scratch_databases() -> list[str]:
    with connection.cursor() as cursor:
        cursor.execute("SELECT datname FROM pg_database WHERE datname LIKE '%%\\_trial\\_%%'")
        mine = str(connection.settings_dict["NAME"])[:20]
        return [name for (name,) in cursor.fetchall() if name.startswith(mine)]


def without_processes(monkeypatch: pytest.MonkeyPatch, begun: list[list[str]]) -> None:
    """What would be started is noted."""

    def begin(command: list[str], **options: Any) -> SimpleNamespace:
        begun.append(command)
        return SimpleNamespace(wait=lambda: 0)

    started = SimpleNamespace(Popen=begin, DEVNULL=subprocess.DEVNULL)
    monkeypatch.setattr(backup.folder, "subprocess", started)


def line_of(monkeypatch: pytest.MonkeyPatch) -> PaperLine:
    """Takes the place of the mail server."""
    line = PaperLine()
    monkeypatch.setitem(channels.TRANSPORTS, "email", lambda business: line)
    return line


def test_a_backup_is_one_closed_file_with_everything(made: Path) -> None:
    with tarfile.open(made) as tar:
        names = tar.getnames()
        manifest = json.loads(tar.extractfile("manifest.json").read())
        keys = json.loads(tar.extractfile("keys.json").read())
    assert names == [
        "book.dump",
        "keys.json",
        "files/decks/2026/11/a.jpg",
        "manifest.json",
        "manifest.sha256",
    ]
    assert made.stat().st_mode & 0o077 == 0
    assert manifest["business"] == "Driftline Deck Care"
    assert manifest["tables"]["clients_deck"]["rows"] == 1
    assert len(keys["SECRET_KEY"]) > 30
    assert [path.name for path in made.parent.glob(".*")] == []


def test_files_that_the_book_names_and_the_store_lacks_are_told(
    filled: str,
    tmp_path: Path,
    as_user: Any,
    capsys: pytest.CaptureFixture[str],
    settings: Settings,
) -> None:
    """A store that was moved, or a disk that is not there, would else be proven again and again."""
    settings.BACKUP_DIR = tmp_path / "kept"
    size = {"width": 640, "height": 480}
    PhotoFactory(image="decks/2026/11/a.jpg", deck=Deck.objects.get(), **size)
    call_command("backup", tmp_path / "whole.backup")
    said = capsys.readouterr()
    assert "rows of" in said.out
    assert " 1 files. Prove it" in said.out
    assert "not found" not in said.err

    for number in range(2):
        PhotoFactory(image=f"decks/2026/12/{number}.jpg", deck=Deck.objects.get(), **size)
    words = "2 files that the book names were not found for the backup, the first decks/2026/12/0"
    call_command("backup")
    assert words in capsys.readouterr().err
    run = BackupRun.objects.newest_proven()
    assert run
    assert (run.file_count, run.missing_count) == (1, 2)
    assert words in as_user(User.objects.get()).get("/settings/backup/").text
    call_command("verify", run.file)
    assert words in capsys.readouterr().err


def test_the_clients_programs_alone_are_enough(
    filled: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """On a server of its own, and in a container, PostgreSQL itself is somewhere else."""
    whole = database.program("psql", version=database.server_version()).parent
    for name in ("pg_dump", "pg_restore", "psql"):
        (tmp_path / name).symlink_to(whole / name)
    monkeypatch.setattr(database, "program_dirs", lambda: [tmp_path])
    call_command("backup", str(tmp_path / "book.zip"))
    call_command("verify", str(tmp_path / "book.zip"))

    monkeypatch.setattr(database, "server_version", lambda: 99)
    with pytest.raises(CommandError, match=r"No pg_dump of PostgreSQL 99.*client programs"):
        call_command("backup", str(tmp_path / "another.zip"))


def test_a_restored_book_is_the_same_and_held(
    made: Path, new_book: NewBook, capsys: pytest.CaptureFixture[str]
) -> None:
    before = Business.objects.get()
    deck = Deck.objects.values().get()
    new_book()
    call_command("restore", made)
    after = Business.objects.get()
    assert "sends nothing yet" in capsys.readouterr().out
    assert after.suppression_key == before.suppression_key
    assert Deck.objects.values().get() == deck
    assert User.objects.get().check_password("low tide at seven")
    assert stored("decks/2026/11/a.jpg") == PHOTO
    assert not default_storage.exists("waiting")
    assert after.sends_nothing
    assert not scratch_databases()


def test_a_restored_book_sends_nothing_until_a_person_releases_it(
    made: Path, new_book: NewBook, monkeypatch: pytest.MonkeyPatch, as_user: Any
) -> None:
    line = line_of(monkeypatch)
    new_book()
    call_command("restore", made)
    owner = as_user(User.objects.get())
    queued(2)  # written after the restore
    assert outbox.deliver().total == 0
    call_command("deliver", once=True)
    assert line.handed_over == []
    assert "This book was restored and sends nothing yet" in owner.get("/").content.decode()

    said = owner.post("/settings/backup/release/", follow=True).content.decode()
    assert "1 message waited in the backup" in said
    assert "was restored and sends nothing" not in said
    assert outbox.deliver().accepted == 1
    assert line.handed_over == ["client2@example.org"]
    waiting = Message.objects.get(address="client1@example.org")
    assert waiting.held_at is not None
    assert "may have gone out since" in waiting.events.last().note


def test_a_held_book_has_no_calls_to_make_and_prints_no_letters(filled: str, as_user: Any) -> None:
    owner = as_user(User.objects.get())
    MessageFactory(channel="call", address="+19025550142", kind="service")
    MessageFactory(channel="letter", address="7 Cormorant Lane", kind="service")
    assert Message.objects.due("call").count() == Message.objects.due("letter").count() == 1
    owner.post("/outbox/letters/new/")
    batch = LetterBatch.objects.get()
    call_command("hold_book")
    assert Message.objects.due("call").count() == 0
    said = owner.post(f"/outbox/letters/{batch.pk}/print/", follow=True).content.decode()
    assert "sends nothing yet" in said
    batch.refresh_from_db()
    assert batch.prints == 0
    call_command("hold_book", end=True)
    assert not Business.objects.get().sends_nothing


def test_a_held_book_queues_nothing_by_itself_and_leaves_the_mailbox_alone(
    filled: str, settings: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    fetched: list[int] = []
    monkeypatch.setattr(incoming, "fetch_unseen_mails", lambda *_, **__: fetched.append(1))
    settings.BOUNCES_HOST = "mail.example.com"
    ReminderStepFactory(is_on=True, goes_by_itself=True)
    reminder_tasks.fetch_bounces()
    assert reminder_tasks.queue_reminders_nightly() == "0 queued"
    call_command("hold_book")
    reminder_tasks.fetch_bounces()
    assert len(fetched) == 1
    assert reminder_tasks.queue_reminders_nightly() == "The book is held."


def test_verifying_proves_the_file_and_leaves_nothing_behind(
    made: Path, as_user: Any, capsys: pytest.CaptureFixture[str]
) -> None:
    assert BackupRun.objects.newest_proven() is None
    call_command("verify", made)
    assert "Proven" in capsys.readouterr().out
    run = BackupRun.objects.newest_proven()
    assert (run.file, run.file_count, run.is_encrypted) == (str(made), 1, False)
    assert not scratch_databases()
    page = as_user(User.objects.get()).get("/settings/backup/").content.decode()
    assert "Proven" in page
    assert "1 photograph as they were" in page


def test_a_table_that_does_not_come_back_equal_is_named(
    made: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    load = database.load_dump

    def load_and_lose_a_row(dump: Path, name: str) -> None:
        load(dump, name)
        with database.connected_to(name):
            Deck.objects.update(label="Lower deck")

    monkeypatch.setattr(database, "load_dump", load_and_lose_a_row)
    assert "clients_deck: 1 rows" in refusal("verify", made)
    assert BackupRun.objects.newest_proven() is None
    assert "clients_deck" in BackupRun.objects.newest_tried().proof_problem


@pytest.mark.parametrize("share", [0.1, 0.5, 0.9, 0.999])
def test_a_file_that_is_cut_off_is_refused(made: Path, new_book: NewBook, share: float) -> None:
    content = made.read_bytes()
    # a tar archive ends in a filling that says nothing
    end = content.rindex(b"manifest.sha256") + 512 + 64
    made.write_bytes(content[: int(end * share)])
    new_book()
    assert "is cut off or damaged" in refusal("restore", made)
    assert not Business.objects.exists()


@pytest.mark.parametrize("member", ["book.dump", "keys.json", "files/", "manifest.json"])
def test_an_altered_file_is_refused(made: Path, new_book: NewBook, member: str) -> None:
    content = bytearray(made.read_bytes())
    content[content.index(member.encode()) + 512 + 10] ^= 1
    made.write_bytes(content)
    new_book()
    assert "was changed after it was made" in refusal("restore", made)
    assert not Business.objects.exists()


def test_what_is_no_backup_is_said_to_be_none(filled: str, tmp_path: Path) -> None:
    other = tmp_path / "list.csv"
    other.write_text("client,deck\n" * 100)
    assert "is no backup of this program" in refusal("verify", other)
    assert "No such file" in refusal("verify", tmp_path / "nowhere")


def test_an_encrypted_backup_opens_by_its_passphrase_only(
    filled: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "book.backup"
    monkeypatch.setenv("BACKUP_PASSPHRASE", "low tide at seven")
    call_command("backup", path)
    assert b"Upper deck" not in path.read_bytes()
    assert PHOTO not in path.read_bytes()
    call_command("verify", path)
    assert BackupRun.objects.newest_proven().is_encrypted
    monkeypatch.setenv("BACKUP_PASSPHRASE", "high tide at seven")
    assert "The passphrase is not the one" in refusal("verify", path)
    monkeypatch.delenv("BACKUP_PASSPHRASE")
    assert "A passphrase is needed" in refusal("verify", path)


def test_an_altered_or_cut_off_encrypted_backup_is_refused(
    filled: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "book.backup"
    monkeypatch.setenv("BACKUP_PASSPHRASE", "low tide at seven")
    call_command("backup", path)
    content = path.read_bytes()
    changed = bytearray(content)
    changed[len(content) // 2] ^= 1
    for damaged in (changed, content[: len(content) // 2]):
        path.write_bytes(damaged)
        assert "cut off or damaged" in refusal("verify", path)


def test_an_encrypted_backup_opens_without_this_program(
    filled: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """By the two members of the tar archive and any program for the age format."""
    path = tmp_path / "book.backup"
    monkeypatch.setenv("BACKUP_PASSPHRASE", "low tide at seven")
    call_command("backup", path)
    with tarfile.open(path) as tar:
        locked = tar.extractfile("key.age").read()
        book = tar.extractfile("book.tar.age").read()
    key = pyrage.x25519.Identity.from_str(
        pyrage.passphrase.decrypt(locked, "low tide at seven").decode()
    )
    with tarfile.open(fileobj=io.BytesIO(pyrage.decrypt(book, [key]))) as tar:
        assert tar.getnames()[0] == "book.dump"


def test_a_backup_goes_into_an_empty_book_only(made: Path) -> None:
    said = refusal("restore", made)
    assert "it holds 1 business, 1 person who signs in, 2 clients" in said
    assert Client.objects.count() == 2


def test_other_photographs_of_the_same_name_are_not_overwritten(
    made: Path, new_book: NewBook
) -> None:
    new_book()
    default_storage.save("decks/2026/11/a.jpg", ContentFile(b"another"))
    assert "holds another decks/2026/11/a.jpg" in refusal("restore", made)
    assert not Business.objects.exists()


def test_a_book_that_others_have_open_is_not_replaced(made: Path, new_book: NewBook) -> None:
    new_book()
    other = connection.copy()
    other.connect()
    try:
        assert "open in 1 other program" in refusal("restore", made)
    finally:
        other.close()


def test_the_demos_backup_does_not_go_into_a_book_of_ones_own(
    filled: str, new_book: NewBook, tmp_path: Path, settings: Settings
) -> None:
    path = tmp_path / "demo.backup"
    settings.MODE = "demo"
    call_command("backup", path)
    settings.MODE = "book"
    new_book()
    assert "the invented book of the demo" in refusal("restore", path)


def test_a_backup_of_an_older_release_is_brought_up_to_date(
    filled: str, new_book: NewBook, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "old.backup"
    call_command("migrate", "restorer", "zero", verbosity=0)  # as before there were backups
    call_command("backup", path)
    new_book()
    call_command("restore", path)
    assert "brought it up to this release" in capsys.readouterr().out
    assert Deck.objects.get().label == "Upper deck"
    assert BackupRun.objects.count() == 0  # its table is there again
    assert Business.objects.get().sends_nothing


def test_a_backup_of_a_newer_release_is_refused(
    filled: str, new_book: NewBook, tmp_path: Path
) -> None:
    path = tmp_path / "new.backup"
    with connection.cursor() as cursor:
        cursor.execute(
            "INSERT INTO django_migrations (app, name, applied) VALUES ('clients', '9999_x', now())"
        )
    call_command("backup", path)
    new_book()
    assert "clients.9999_x is not known here" in refusal("restore", path)
    assert not Business.objects.exists()


def environment_of(tmp_path: Path, settings: Settings) -> dict[str, str]:
    """For a process of its own on the book that the test has in hand."""
    parameters = connection.get_connection_params()
    address = f"postgresql://{parameters['user']}@/{parameters['dbname']}"
    return {
        **os.environ,
        "DATABASE_URL": f"{address}?host={parameters['host']}",
        "RESTORER_VAR": str(tmp_path / "var"),
        "MEDIA_ROOT": str(settings.MEDIA_ROOT),
        "RESTORER_NO_VENV": "1",
        "DJANGO_SETTINGS_MODULE": "restorer.settings",
    }


def test_a_backup_that_is_killed_leaves_no_file_that_looks_whole(
    filled: str, tmp_path: Path, settings: Settings
) -> None:
    path = tmp_path / "book.backup"
    large = Path(settings.MEDIA_ROOT) / "large.jpg"
    with large.open("wb") as file:
        file.truncate(20_000_000_000)  # a hole: it takes no room, and long to read
    part = archive.part_path(path)
    command = [sys.executable, "manage.py", "backup", str(path)]
    environment = environment_of(tmp_path, settings)
    with subprocess.Popen(command, cwd=BASE_DIR, env=environment) as process:
        until = time.monotonic() + 240
        while not (part.exists() and part.stat().st_size > 5_000_000):
            assert process.poll() is None
            assert time.monotonic() < until
            time.sleep(0.02)
        process.send_signal(signal.SIGKILL)
    assert not path.exists()
    assert "is cut off or damaged" in refusal("verify", part)
    large.unlink()
    call_command("backup", path)  # the remains are in nobody's way
    call_command("verify", path)
    assert not part.exists()


def test_a_disk_that_is_full_and_a_folder_that_is_not_there_are_said(
    filled: str, tmp_path: Path
) -> None:
    default_storage.save("decks/2026/11/b.jpg", ContentFile(os.urandom(3_000_000)))
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    path = tmp_path / "book.backup"
    resource.setrlimit(resource.RLIMIT_FSIZE, (2_000_000, hard))
    try:
        said = refusal("backup", path)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
    assert "cannot be written: File too large" in said
    assert [each.name for each in tmp_path.glob("*book.backup*")] == []
    assert "No such file or directory" in refusal("backup", tmp_path / "nowhere" / "book.backup")
    path.write_text("something else")
    assert "is there already" in refusal("backup", path)


def test_without_a_file_it_goes_into_the_folder_proven_and_old_ones_go(
    filled: str, settings: Settings
) -> None:
    settings.BACKUP_DIR.mkdir()
    first = datetime(2020, 1, 1, 3, tzinfo=UTC)
    times = [first + timedelta(days=number) for number in range(40)]
    old = [settings.BACKUP_DIR / f"book-{each:%Y-%m-%dT%H%M%SZ}.backup" for each in times]
    other = settings.BACKUP_DIR / "holiday.txt"
    for path in [*old, other]:
        path.write_text("x")
    call_command("backup")
    run = BackupRun.objects.newest_proven()
    assert Path(run.file).parent == settings.BACKUP_DIR
    assert run.proven_at is not None
    left = [path for path in old if path.exists()]
    assert other.exists()
    # the new one is a day, a week and a month of its own: six days, three weeks, two months more
    assert [path.name[5:15] for path in left] == [
        "2020-01-26",
        "2020-01-31",
        "2020-02-02",
        *[f"2020-02-0{day}" for day in range(4, 10)],
    ]


def test_a_folder_that_cannot_be_made_is_kept_for_the_owner_to_see(
    filled: str, settings: Settings, tmp_path: Path, as_user: Any
) -> None:
    (tmp_path / "file").write_text("x")
    settings.BACKUP_DIR = tmp_path / "file" / "backups"
    assert "cannot be made" in refusal("backup")
    page = as_user(User.objects.get()).get("/settings/backup/").content.decode()
    assert "The last backup failed" in page
    assert "cannot be made: Not a directory" in page


def test_at_night_a_process_of_its_own_makes_it(
    filled: str, settings: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    begun: list[list[str]] = []
    without_processes(monkeypatch, begun)
    settings.MODE = "demo"
    assert tasks.back_up_nightly() == "Nothing to back up."
    settings.MODE = "book"
    tasks.back_up_nightly()
    assert [command[1:] for command in begun] == [[str(BASE_DIR / "manage.py"), "backup"]]


def test_the_owner_starts_one_by_a_button(
    filled: str, monkeypatch: pytest.MonkeyPatch, as_user: Any
) -> None:
    begun: list[list[str]] = []
    without_processes(monkeypatch, begun)
    owner: Browser = as_user(User.objects.get())
    page = owner.get("/settings/backup/").content.decode()
    assert "Back up now" in page
    owner.post("/settings/backup/now/")
    assert len(begun) == 1


def test_a_backup_at_work_is_said_and_no_second_one_begun(
    filled: str, monkeypatch: pytest.MonkeyPatch, as_user: Any
) -> None:
    begun: list[list[str]] = []
    without_processes(monkeypatch, begun)
    owner: Browser = as_user(User.objects.get())
    with backup.turn.backup_turn():
        said = owner.post("/settings/backup/now/", follow=True).content.decode()
        assert "Another backup or restore is at work." in said
        assert "A backup is being made or proven" in said
        assert '<button class="quiet">Back up now' not in said
        assert "is at work" in tasks.back_up_nightly()
    page = owner.get("/settings/backup/").content.decode()
    assert "A backup is being made" not in page
    assert "The last backup failed" not in page
    assert begun == []


def test_a_backup_has_its_turn_from_the_press_on_until_its_process_ends(
    filled: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    handed: list[int] = []

    def begin(command: list[str], **options: Any) -> SimpleNamespace:
        handed.extend(os.dup(file) for file in options["pass_fds"])
        monkeypatch.setenv(HANDED_TURN, str(handed[0]))
        return SimpleNamespace(wait=lambda: 0)

    started = SimpleNamespace(Popen=begin, DEVNULL=subprocess.DEVNULL)
    monkeypatch.setattr(backup.folder, "subprocess", started)
    backup.start_backup()
    assert backup.is_turn_taken()
    with backup.turn.backup_turn():  # as in the process that was begun
        assert backup.is_turn_taken()
    assert not backup.is_turn_taken()


def test_two_at_once_are_refused(filled: str, tmp_path: Path) -> None:
    with backup.turn.backup_turn():
        assert "is at work" in refusal("backup", tmp_path / "book.backup")


def test_states_of_messages_survive(made: Path, new_book: NewBook) -> None:
    before = states()
    new_book()
    call_command("restore", made)
    assert states() == before


def test_a_proof_grows_old() -> None:
    now = timezone.now()
    assert BackupRun(started_at=now - timedelta(days=9)).is_proof_old(now=now)
    assert not BackupRun(started_at=now - timedelta(days=7)).is_proof_old(now=now)
