"""`manage.py export_book FOLDER|FILE.zip`: everything as CSV and JSON, with the photographs."""

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import CommandError

from clients.management.opening import BookCommand
from restorer.export import ExportError, write_export


class Command(BookCommand):
    help = "Write everything as CSV and JSON, with the photographs, for other programs."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("path", type=Path, help="A new folder, or a new file ending in .zip")

    def handle(self, *args: Any, **options: Any) -> None:
        path = options["path"].absolute()
        try:
            write_export(path)
        except ExportError as error:
            raise CommandError(str(error)) from error
        self.stdout.write(f"{path}: everything is out. What each column means: columns.csv in it.")
