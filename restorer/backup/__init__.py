"""Backups of the whole book in one file, proven by a restore."""

from restorer.backup.folder import back_up_to_folder, start_backup, times_to_keep
from restorer.backup.making import release_number, stored_file_names, write_backup
from restorer.backup.problem import BackupError
from restorer.backup.restoring import (
    RestoredBook,
    restore_backup,
    verify_backup,
    what_is_there,
)

__all__ = [
    "BackupError",
    "RestoredBook",
    "back_up_to_folder",
    "release_number",
    "restore_backup",
    "start_backup",
    "stored_file_names",
    "times_to_keep",
    "verify_backup",
    "what_is_there",
    "write_backup",
]
