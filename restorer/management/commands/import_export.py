"""`manage.py import_export FOLDER|FILE.zip`: an export back into an empty book."""

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import CommandError
from django.utils import timezone

from clients.management.opening import BookCommand
from restorer.export import ExportError, read_export


class Command(BookCommand):
    help = (
        "Read what export_book wrote into an empty book. It sends nothing until somebody says that"
        " it is the only one."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("path", type=Path, help="The folder, or the file ending in .zip")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            count = read_export(path=options["path"].absolute(), now=timezone.now())
        except ExportError as error:
            raise CommandError(str(error)) from error
        self.stdout.write(
            f"{count:,} rows are in. Passwords are not part of an export: set one with manage.py"
            " changepassword NAME. The book sends nothing yet: manage.py hold_book --end"
        )
