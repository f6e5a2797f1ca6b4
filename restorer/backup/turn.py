"""One backup, trial or restore at a time on this machine."""

import fcntl
from collections.abc import Iterator
from contextlib import contextmanager

from django.conf import settings

from restorer.backup.problem import BackupError


@contextmanager
def backup_turn() -> Iterator[None]:
    settings.VAR_DIR.mkdir(parents=True, exist_ok=True)
    with (settings.VAR_DIR / "backup.lock").open("w") as file:
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            raise BackupError("Another backup or restore is at work. Wait until it ends.") from None
        yield
