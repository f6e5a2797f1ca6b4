"""`manage.py start_learning FILE...`: begin from what other books learned."""

import json
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management import CommandError
from django.utils import timezone

from clients.management.opening import BookCommand
from reminders.forecasting import starting
from reminders.management.arguments import require_business

MAX_FILE_BYTES = 1_000_000


class Command(BookCommand):
    help = (
        "Begin from what other books learned (files of export_learning), each weighed by its doubt,"
        " until the visits of this book say more. Refused where the published figures forecast"
        " these visits better."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("files", type=Path, nargs="*", metavar="FILE")
        parser.add_argument(
            "--forget", action="store_true", help="Begin from the published figures again."
        )

    def handle(self, *args: Any, **options: Any) -> None:
        if options["forget"] == bool(options["files"]):
            raise CommandError("Name the files to start from, or --forget.")
        now = timezone.now()
        today = require_business().today(now)
        if options["forget"]:
            had_one = starting.forget_start(today=today, now=now)
            self.stdout.write("Forgotten." if had_one else "There was nothing to forget.")
            return
        try:
            files = {str(path): read_json(path) for path in options["files"]}
            _, said = starting.start_from(files, today=today, now=now)
        except starting.StartingError as why:
            raise CommandError(str(why)) from why
        self.stdout.write(said)


def read_json(path: Path) -> Any:
    try:
        if path.stat().st_size > MAX_FILE_BYTES:
            raise CommandError(f"{path} is far too large for a file of export_learning.")
        return json.loads(path.read_text(encoding="utf-8"))
    except OSError as wrong:
        raise CommandError(f"{path} cannot be read: {wrong.strerror}.") from wrong
    except ValueError as wrong:
        raise CommandError(f"{path} is no file of export_learning.") from wrong
