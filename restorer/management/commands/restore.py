"""`manage.py restore FILE`: brings a backup back into an empty book, which then is held."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import CommandError
from django.utils import timezone

from clients.management.opening import BookCommand
from restorer.backup import BackupError, RestoredBook, restore_backup_at
from restorer.management.passphrases import known_passphrase


class Command(BookCommand):
    help = (
        "Restore a backup into an empty book. It is compared with what was backed up, and sends"
        " nothing until somebody says that it is the only one."
    )
    makes_tables = False

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", help="A file, or s3://BUCKET/NAME")

    def handle(self, *args: Any, **options: Any) -> None:
        place = options["file"]
        try:
            restored = restore_backup_at(
                place=place, passphrase=known_passphrase, now=timezone.now()
            )
        except BackupError as error:
            raise CommandError(str(error)) from error
        self.tell(restored)

    def tell(self, restored: RestoredBook) -> None:
        found = restored.manifest
        self.stdout.write(
            f"Restored: {found.business or 'a book without a business'}, as it was on"
            f" {found.made_at:%Y-%m-%d %H:%M} UTC: {found.row_count:,} rows,"
            f" {len(found.photo_names):,} files."
        )
        if restored.migrations_made:
            self.stdout.write(
                f"Release {found.release} made it; {restored.migrations_made} changes brought it"
                " up to this release."
            )
        if restored.key_to_set:
            self.stderr.write(
                "SECRET_KEY is another than in the backup: everybody signs in once more."
            )
        self.stdout.write(
            "It sends nothing yet. If it is the only one of its kind, say so: Settings, Backup,"
            " or manage.py hold_book --end"
        )
