"""The folder of backups: made each night, proven, and thinned out."""

import os
import subprocess
import sys
import threading
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from django.conf import settings

from restorer.backup.making import write_backup
from restorer.backup.problem import BackupError
from restorer.backup.restoring import verify_backup
from restorer.backup.turn import HANDED_TURN, take_turn
from restorer.local.processes import MANAGE_PY
from restorer.models import BackupRun

NAME = "book-%Y-%m-%dT%H%M%SZ.backup"
DAYS_KEPT = 7
WEEKS_KEPT = 4
MONTHS_KEPT = 12
RUNS_KEPT = 200  # rows that say what was made and tried


@dataclass(frozen=True)
class MadeBackup:
    """A backup in the folder, and those that had their time."""

    place: str
    dropped: list[str]
    missing_words: str  # of files that the book names and the store did not have


def back_up_to_folder(*, passphrase: str, clock: Callable[[], datetime]) -> MadeBackup:
    """Make one, prove it, drop the oldest. Whatever goes wrong is kept for the owner to see."""
    now = clock()
    path = settings.BACKUP_DIR / now.astimezone(UTC).strftime(NAME)
    with note_failure(str(path), now):
        make_folder(path.parent)
        made = write_backup(path=path, passphrase=passphrase, now=now)
    verify_backup(path=path, passphrase=lambda: passphrase, now=clock())
    dropped = drop_old_backups(path.parent)
    forget_old_runs()
    return MadeBackup(str(path), [str(each) for each in dropped], made.missing_words)


@contextmanager
def note_failure(place: str, now: datetime) -> Iterator[None]:
    """Why there is no backup is kept for the owner to see."""
    try:
        yield
    except BackupError as mistake:
        BackupRun.objects.create(started_at=now, file=place[:500], problem=str(mistake))
        raise


def make_folder(folder: Path) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    except OSError as mistake:
        raise BackupError(
            f"The folder {folder} cannot be made: {mistake.strerror}. Make it, or set BACKUP_DIR."
        ) from mistake


def drop_old_backups(folder: Path) -> list[Path]:
    """Files of ours that no rule keeps, and what a killed backup left; others are left alone."""
    dropped = [
        folder / name for name in names_past_their_time(each.name for each in folder.iterdir())
    ]
    for path in [*dropped, *folder.glob(".book-*.part")]:
        path.unlink(missing_ok=True)
    return dropped


def names_past_their_time(names: Iterable[str]) -> list[str]:
    """Of these the names of backups that no rule keeps, the oldest first."""
    found = {when: name for name in names if (when := time_in_name(name))}
    kept = times_to_keep(found)
    return [name for when, name in sorted(found.items()) if when not in kept]


def time_in_name(name: str) -> datetime | None:
    try:
        return datetime.strptime(name, NAME).replace(tzinfo=UTC)
    except ValueError:
        return None


def times_to_keep(times: Iterable[datetime]) -> set[datetime]:
    """The last of each of the newest 7 days, 4 weeks (ISO 8601) and 12 months that have any."""
    newest_first = sorted(times, reverse=True)
    rules: list[tuple[int, Callable[[datetime], object]]] = [
        (DAYS_KEPT, lambda when: when.date()),
        (WEEKS_KEPT, lambda when: when.isocalendar()[:2]),
        (MONTHS_KEPT, lambda when: (when.year, when.month)),
    ]
    kept: set[datetime] = set()
    for number, span in rules:
        last_of: dict[object, datetime] = {}
        for when in newest_first:
            last_of.setdefault(span(when), when)
        kept |= set(list(last_of.values())[:number])
    return kept


def forget_old_runs() -> None:
    ids = BackupRun.objects.order_by("-started_at").values_list("pk", flat=True)[RUNS_KEPT:]
    BackupRun.objects.filter(pk__in=list(ids)).delete()


def start_backup() -> None:
    """In a process of its own: the task worker would call off what takes longer than its time.

    It has its turn from this moment on; raises BackupError if somebody else has it.
    """
    with take_turn() as turn:
        begun = subprocess.Popen(  # noqa: S603
            [sys.executable, MANAGE_PY, "backup"],
            stdin=subprocess.DEVNULL,
            start_new_session=True,
            env={**os.environ, HANDED_TURN: str(turn.fileno())},
            pass_fds=[turn.fileno()],
        )
    threading.Thread(target=begun.wait, daemon=True).start()  # so that no dead child is left
