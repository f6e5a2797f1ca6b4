"""`manage.py verify FILE`: restores a backup beside the book, compares, and removes that again."""

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import CommandError
from django.utils import timezone

from clients.management.opening import BookCommand
from restorer.backup import BackupError, verify_backup
from restorer.management.passphrases import known_passphrase


class Command(BookCommand):
    help = (
        "Prove a backup: restore it into a database beside the book, compare table by table and"
        " file by file, remove that again. The book is not touched."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", type=Path)

    def handle(self, *args: Any, **options: Any) -> None:
        path = options["file"].absolute()
        try:
            found = verify_backup(path=path, passphrase=known_passphrase, now=timezone.now())
        except BackupError as error:
            raise CommandError(str(error)) from error
        self.stdout.write(
            f"Proven: {path} of {found.made_at:%Y-%m-%d %H:%M} UTC, release {found.release}:"
            f" {found.row_count:,} rows of {len(found.tables)} tables and"
            f" {len(found.photo_names):,} files are as they were."
        )
