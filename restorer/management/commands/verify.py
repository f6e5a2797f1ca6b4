"""`manage.py verify FILE`: restores a backup beside the book, compares, and removes that again."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import CommandError
from django.utils import timezone

from clients.management.opening import BookCommand
from restorer.backup import BackupError, verify_backup_at
from restorer.management.passphrases import known_passphrase


class Command(BookCommand):
    help = (
        "Prove a backup: restore it into a database beside the book, compare table by table and"
        " file by file, remove that again. The book is not touched."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", help="A file, or s3://BUCKET/NAME")

    def handle(self, *args: Any, **options: Any) -> None:
        place = options["file"]
        try:
            found = verify_backup_at(place=place, passphrase=known_passphrase, now=timezone.now())
        except BackupError as error:
            raise CommandError(str(error)) from error
        self.stdout.write(
            f"Proven: {place} of {found.made_at:%Y-%m-%d %H:%M} UTC, release {found.release}:"
            f" {found.row_count:,} rows of {len(found.tables)} tables and"
            f" {len(found.photo_names):,} files are as they were."
        )
        if found.missing:
            self.stderr.write(found.missing_words)
