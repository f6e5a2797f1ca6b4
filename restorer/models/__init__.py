"""The rows of the whole installation: backups, and programs that read and write the book."""

from restorer.models.backups import BackupRun
from restorer.models.programs import ApiToken, KeptAnswer

__all__ = ["ApiToken", "BackupRun", "KeptAnswer"]
