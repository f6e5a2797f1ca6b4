"""One backup, trial or restore at a time on this machine.

The turn is a lock of the system on a file: whoever holds the open file has it, a process that it
was handed to as well, and it ends with the last of them, however they end.
"""

import fcntl
import os
from collections.abc import Iterator
from contextlib import contextmanager
from typing import IO

from django.conf import settings

from restorer.backup.problem import BackupError

HANDED_TURN = "RESTORER_BACKUP_TURN"  # for a process that is started with it: number of the file


@contextmanager
def backup_turn() -> Iterator[None]:
    """This process's turn: the one that it was handed, once, or one of its own."""
    handed = os.environ.pop(HANDED_TURN, "")
    with os.fdopen(int(handed), "w") if handed else take_turn():
        yield


def take_turn() -> IO[str]:
    """The open file that is the turn."""
    file = open_lock()
    try:
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        file.close()
        raise BackupError("Another backup or restore is at work. Wait until it ends.") from None
    return file


def is_turn_taken() -> bool:
    with open_lock() as file:
        try:
            fcntl.flock(file, fcntl.LOCK_SH | fcntl.LOCK_NB)
        except BlockingIOError:
            return True
        return False


def open_lock() -> IO[str]:
    settings.VAR_DIR.mkdir(parents=True, exist_ok=True)
    return (settings.VAR_DIR / "backup.lock").open("w")
