"""Backups of the whole book in one file, proven by a restore."""

from restorer.backup.folder import start_backup, times_to_keep
from restorer.backup.making import stored_file_names, write_backup
from restorer.backup.places import (
    back_up_and_prove,
    restore_backup_at,
    verify_backup_at,
    write_backup_to,
)
from restorer.backup.problem import BackupError
from restorer.backup.restoring import RestoredBook, what_is_there
from restorer.backup.turn import is_turn_taken

__all__ = [
    "BackupError",
    "RestoredBook",
    "back_up_and_prove",
    "is_turn_taken",
    "restore_backup_at",
    "start_backup",
    "stored_file_names",
    "times_to_keep",
    "verify_backup_at",
    "what_is_there",
    "write_backup",
    "write_backup_to",
]
