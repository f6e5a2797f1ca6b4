"""`manage.py backup [FILE]`: the whole book in one file; without FILE into the folder of backups,
proven by a restore."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import CommandError
from django.utils import timezone

from clients.management.opening import BookCommand
from restorer.backup import BackupError, back_up_and_prove, write_backup_to
from restorer.management.passphrases import VARIABLE, new_passphrase


class Command(BookCommand):
    help = (
        "Back up the whole book: database, photographs, keys. Without FILE: into the folder of"
        f" backups, proven by a restore, old ones dropped. Encrypted if {VARIABLE} is set."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "file", nargs="?", help="A file that is not there yet, or s3://BUCKET/NAME"
        )
        parser.add_argument(
            "--encrypt", action="store_true", help=f"Ask for a passphrase if {VARIABLE} is not set"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        passphrase = new_passphrase(is_asked_for=options["encrypt"])
        try:
            if options["file"]:
                self.write_file(options["file"], passphrase)
            else:
                self.write_to_folder(passphrase)
        except BackupError as error:
            raise CommandError(str(error)) from error
        if not passphrase:
            self.stderr.write("It is not encrypted: whoever has the file can read the book.")

    def write_file(self, place: str, passphrase: str) -> None:
        made = write_backup_to(place=place, passphrase=passphrase, now=timezone.now())
        self.stdout.write(
            f"{place}: {made.row_count:,} rows of {len(made.tables)} tables,"
            f" {len(made.photo_names):,} files. Prove it: manage.py verify {place}"
        )
        self.say_missing(made.missing_words)

    def write_to_folder(self, passphrase: str) -> None:
        made = back_up_and_prove(passphrase=passphrase, clock=timezone.now)
        self.stdout.write(f"{made.place}, restored for a trial and found equal.")
        self.say_missing(made.missing_words)
        for place in made.dropped:
            self.stdout.write(f"{place} had its time and is gone.")

    def say_missing(self, words: str) -> None:
        if words:
            self.stderr.write(words)
