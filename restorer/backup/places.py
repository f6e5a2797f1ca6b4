"""Backups by where they lie: a file of this machine, or an object of a bucket, which is made here,
proven by what comes back from there, and thinned out as a folder is."""

import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path

from django.conf import settings

from restorer.backup.folder import (
    NAME,
    MadeBackup,
    back_up_to_folder,
    forget_old_runs,
    names_past_their_time,
    note_failure,
)
from restorer.backup.making import write_backup
from restorer.backup.manifest import Manifest
from restorer.backup.problem import BackupError
from restorer.backup.restoring import (
    AskPassphrase,
    RestoredBook,
    restore_backup,
    verify_backup,
)
from restorer.bucket import BucketAddress, BucketError, is_bucket, open_bucket


@contextmanager
def bucket_faults() -> Iterator[None]:
    try:
        yield
    except BucketError as fault:
        raise BackupError(str(fault)) from fault


@contextmanager
def working_folder() -> Iterator[Path]:
    """Room for one backup, beside the book."""
    settings.VAR_DIR.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(prefix="bucket-", dir=settings.VAR_DIR) as name:
        yield Path(name)


@contextmanager
def backup_here(address: str) -> Iterator[Path]:
    """The file itself, or a copy of what lies in a bucket for as long as it is needed."""
    if not is_bucket(address):
        yield Path(address).absolute()
        return
    with working_folder() as folder, bucket_faults():
        place, name = BucketAddress.parse(address).folder_and_name
        open_bucket(place).fetch(name, folder / "fetched.backup")
        yield folder / "fetched.backup"


def write_backup_to_bucket(*, address: str, passphrase: str, now: datetime) -> Manifest:
    """One object with all of the book, under a name that is not there yet."""
    with bucket_faults(), working_folder() as folder:
        place, name = BucketAddress.parse(address).folder_and_name
        bucket = open_bucket(place)
        if not name or name in bucket.names():
            raise BackupError(f"{address} is there already. Name another file.")
        made = write_backup(path=folder / name, passphrase=passphrase, now=now)
        bucket.put(folder / name, name)
    return made


def write_backup_to(*, place: str, passphrase: str, now: datetime) -> Manifest:
    """One file with all of the book, under a name that is not there yet."""
    if is_bucket(place):
        return write_backup_to_bucket(address=place, passphrase=passphrase, now=now)
    return write_backup(path=Path(place).absolute(), passphrase=passphrase, now=now)


def verify_backup_at(*, place: str, passphrase: AskPassphrase, now: datetime) -> Manifest:
    with backup_here(place) as path:
        kept_as = place if is_bucket(place) else str(path)
        return verify_backup(path=path, passphrase=passphrase, now=now, kept_as=kept_as)


def restore_backup_at(*, place: str, passphrase: AskPassphrase, now: datetime) -> RestoredBook:
    with backup_here(place) as path:
        return restore_backup(path=path, passphrase=passphrase, now=now)


def back_up_and_prove(*, passphrase: str, clock: Callable[[], datetime]) -> MadeBackup:
    """By the setting BACKUP_DIR: to its folder or its bucket."""
    make = back_up_to_bucket if settings.BACKUP_BUCKET else back_up_to_folder
    return make(passphrase=passphrase, clock=clock)


def back_up_to_bucket(*, passphrase: str, clock: Callable[[], datetime]) -> MadeBackup:
    """Make one, prove the one that lies there, drop the oldest. Whatever goes wrong is kept for
    the owner to see."""
    now = clock()
    name = now.astimezone(UTC).strftime(NAME)
    address = f"{settings.BACKUP_BUCKET.rstrip('/')}/{name}"
    with note_failure(address, now):
        made = write_backup_to_bucket(address=address, passphrase=passphrase, now=now)
    verify_backup_at(place=address, passphrase=lambda: passphrase, now=clock())
    dropped = drop_old_objects()
    forget_old_runs()
    return MadeBackup(address, dropped, made.missing_words)


def drop_old_objects() -> list[str]:
    """Objects of ours that no rule keeps; others are left alone."""
    with bucket_faults():
        bucket = open_bucket(BucketAddress.parse(settings.BACKUP_BUCKET))
        dropped = names_past_their_time(bucket.names())
        for name in dropped:
            bucket.delete(name)
    return [bucket.address(name) for name in dropped]
