"""Restores a backup: for a trial, or into an empty book.

Either way the file is read whole and compared with its manifest, the database is restored beside
the book and compared table by table. Only then anything takes its place, all at once. So a restore
that breaks off leaves the empty book that it found.
"""

import json
import os
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from django.conf import settings
from django.core.files.storage import default_storage
from django.core.management import call_command
from django.db import connection
from django.db.migrations.loader import MigrationLoader

from clients.messaging import outbox
from clients.models import Business, Client, User
from restorer.backup import archive, database
from restorer.backup.manifest import Manifest
from restorer.backup.problem import BackupError
from restorer.backup.turn import backup_turn
from restorer.models import BackupRun

AskPassphrase = Callable[[], str]


@dataclass(frozen=True)
class Unpacked:
    """A backup whose members are what its manifest says, as files."""

    folder: Path
    manifest: Manifest

    @property
    def dump(self) -> Path:
        return self.folder / archive.DUMP

    @property
    def files(self) -> Path:
        return self.folder / archive.FILES

    def secret_key(self) -> str:
        return str(json.loads((self.folder / archive.KEYS).read_text())["SECRET_KEY"])


@contextmanager
def unpacked(path: Path, passphrase: AskPassphrase) -> Iterator[Unpacked]:
    settings.VAR_DIR.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(prefix="restore-", dir=settings.VAR_DIR) as name:
        manifest = archive.extract_archive(path, Path(name), passphrase)
        yield Unpacked(Path(name), manifest)


def verify_backup(
    *, path: Path, passphrase: AskPassphrase, now: datetime, kept_as: str = ""
) -> Manifest:
    """Restore it into a database beside the book, compare table by table and file by file, and
    remove that again. The result is kept in `BackupRun`; `kept_as` is where it lies, if `path` is a
    copy of it."""
    with backup_turn(), unpacked(path, passphrase) as found:
        wrong = trial_differences(found)
        record_proof(path, kept_as or str(path), found.manifest, wrong, now)
    if wrong:
        raise BackupError(
            f"{kept_as or path} does not restore to what was backed up: {'; '.join(wrong)}."
        )
    return found.manifest


def trial_differences(found: Unpacked) -> list[str]:
    with database.scratch_database() as name:
        try:
            database.load_dump(found.dump, name)
        except BackupError as mistake:
            return [str(mistake)]
        return database.differences(found.manifest, name)


def record_proof(
    path: Path, place: str, manifest: Manifest, wrong: list[str], now: datetime
) -> None:
    kept = {
        "started_at": manifest.made_at,
        "file": place,
        "size_bytes": path.stat().st_size,
        "is_encrypted": archive.is_encrypted(path),
        "row_count": manifest.row_count,
        "file_count": len(manifest.photo_names),
        "missing_count": len(manifest.missing),
        "missing_example": "".join(manifest.missing[:1]),
        "problem": "",
        "proven_at": None if wrong else now,
        "proof_problem": "; ".join(wrong),
    }
    BackupRun.objects.update_or_create(key=manifest.key, defaults=kept)


@dataclass(frozen=True)
class RestoredBook:
    """What was restored, and what is left for a person to do."""

    manifest: Manifest
    migrations_made: int
    key_to_set: bool  # SECRET_KEY of the environment is another than the backup's


def restore_backup(*, path: Path, passphrase: AskPassphrase, now: datetime) -> RestoredBook:
    """Into an empty book, which is held afterwards: it sends nothing until somebody says that it
    is the only one."""
    with backup_turn(), unpacked(path, passphrase) as found:
        require_fitting(found.manifest)
        require_empty_book(found)
        with database.scratch_database() as name:
            database.load_dump(found.dump, name)
            if wrong := database.differences(found.manifest, name):
                raise BackupError(f"Nothing was restored: {'; '.join(wrong)}.")
            with database.connected_to(name):
                made = bring_up_to_date(now)
            store_files(found)
            database.take_place_of_book(name)
        return RestoredBook(found.manifest, made, keep_secret_key(found.secret_key()))


def require_fitting(manifest: Manifest) -> None:
    """Of this kind of book, and of a release that this one knows."""
    if manifest.mode != settings.MODE:
        kinds = {"demo": "the invented book of the demo", "book": "a book of your own"}
        raise BackupError(
            f"The backup is of {kinds[manifest.mode]}, and this is {kinds[settings.MODE]}."
            " Nothing was changed."
        )
    known = MigrationLoader(None).disk_migrations
    unknown = [
        f"{app}.{name}"
        for app, names in manifest.migrations.items()
        for name in names
        if (app, name) not in known
    ]
    if unknown:
        raise BackupError(
            f"The backup was made by release {manifest.release}, which is newer than this one"
            f" ({unknown[0]} is not known here). Install that release first."
        )


def require_empty_book(found: Unpacked) -> None:
    if there := what_is_there():
        raise BackupError(
            f"This book is not empty: it holds {there}. A backup goes into an empty book only."
            " Nothing was changed."
        )
    if others := database.others_connected():
        raise BackupError(
            f"The book is open in {others} other program{'s' if others > 1 else ''}. Stop the"
            " server (serve, the worker, deliver) first."
        )
    for name in found.manifest.photo_names:
        if default_storage.exists(name) and not is_same_file(name, found.files / name):
            raise BackupError(
                f"The photographs' folder {settings.MEDIA_BUCKET or settings.MEDIA_ROOT} holds"
                f" another {name}. Set MEDIA_ROOT to an empty folder. Nothing was changed."
            )


def what_is_there() -> str:
    """What an empty book would not hold, in words; nothing for one that has no tables yet."""
    tables = set(connection.introspection.table_names())
    told = []
    for model, one, many in (
        (Business, "business", "businesses"),
        (User, "person who signs in", "people who sign in"),
        (Client, "client", "clients"),
    ):
        count = model.objects.count() if model._meta.db_table in tables else 0
        if count:
            told.append(f"{count} {one if count == 1 else many}")
    return ", ".join(told)


def is_same_file(name: str, path: Path) -> bool:
    if default_storage.size(name) != path.stat().st_size:
        return False
    with default_storage.open(name) as there:
        return bool(there.read() == path.read_bytes())


def bring_up_to_date(now: datetime) -> int:
    """Migrate what an older release made, and hold the book; how many migrations that took."""
    before = MigrationLoader(connection).applied_migrations
    call_command("migrate", interactive=False, verbosity=0)
    call_command("createcachetable", verbosity=0)
    outbox.hold_book(now=now)
    return len(MigrationLoader(connection).applied_migrations) - len(before)


def store_files(found: Unpacked) -> None:
    for name in found.manifest.photo_names:
        if default_storage.exists(name):
            continue  # the same, as was made sure
        with (found.files / name).open("rb") as file:
            default_storage.save(name, file)


def keep_secret_key(key: str) -> bool:
    """Beside the book, unless the environment says which it is; True if that is another."""
    if os.environ.get("SECRET_KEY"):
        return os.environ["SECRET_KEY"] != key
    path = settings.VAR_DIR / "secret_key"
    path.write_text(key)
    path.chmod(0o600)
    return False
