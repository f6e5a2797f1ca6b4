"""What goes wrong with backups, said in words for whoever asked."""


class BackupError(Exception):
    """It cannot be done; the message says why and what to do."""
