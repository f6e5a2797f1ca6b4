"""Loads the offline towns into the database; doing it again changes nothing."""

from time import perf_counter
from typing import Any

from django.core.management.base import CommandParser

from clients.management.opening import BookCommand
from clients.places.loading import load_towns


class Command(BookCommand):
    help = (
        "Load the towns of clients/data/towns.csv.gz (GeoNames, CC BY 4.0). Skips when this edition"
        " is in place."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "--force", action="store_true", help="load again even if this edition is in place"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        start = perf_counter()
        loaded = load_towns(force=options["force"], report=self.stdout.write)
        if loaded.was_current:
            self.stdout.write(f"The {loaded.towns:,} towns are up to date.")
        else:
            self.stdout.write(f"{loaded.towns:,} towns loaded in {perf_counter() - start:.1f} s.")
