"""`manage.py bench`: how fast, as ratios in one run, on a scratch database of invented decks."""

import json
import os
import subprocess
import sys
from argparse import ArgumentParser
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from datetime import date, datetime
from pathlib import Path
from typing import Any
from urllib.parse import quote

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand
from django.db import connection
from django.utils import timezone

from reminders import actions
from tests.bench import (
    book,
    core,
    forecasts,
    growth,
    importing,
    lists,
    offers,
    pacing,
    packs,
    pages,
    pdf,
    people,
    planning,
    rude,
    search,
    sending,
    traffic,
    unsubscribing,
)
from tests.bench.timing import elapsed_seconds

SCRATCH = "restorer_bench"
BENCHES = [
    "import",
    "search",
    "forecasts",
    "due",
    "today",
    "lists",
    "people",
    "planning",
    "pacing",
    "core",
    "packs",
    "offers",
    "pdf",
    "sending",
    "unsubscribe",
    "rude",
    "growth",
]


class Command(BaseCommand):
    help = (
        "Measure speed against raw SQL, COPY and smtplib on a scratch database; your book is not"
        " touched."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--decks", type=int, default=100_000)
        parser.add_argument("--rows", type=int, default=100_000)
        parser.add_argument("--messages", type=int, default=1_000)
        parser.add_argument("--offers", type=int, default=400)
        parser.add_argument("--only", nargs="*", choices=BENCHES, default=None)
        parser.add_argument("--format", choices=["table", "json"], default="table")
        parser.add_argument(
            "--sizes", type=int, nargs="+", help="The part growth in books of so many decks each"
        )
        parser.add_argument("--picture", type=Path, help="Where --sizes draws what grows (SVG)")

    def handle(self, *args: Any, **options: Any) -> None:
        if options["sizes"]:
            self.compare_sizes(options["sizes"], options["picture"])
            return
        if settings.DATABASES["default"]["NAME"] != SCRATCH:
            sys.exit(self.in_scratch_database())
        results = self.measure(options)
        if options["format"] == "json":
            self.stdout.write(json.dumps(results, indent=2))
            return
        for name, figures in results.items():
            line = "  ".join(
                f"{key} {value:,.2f}".rstrip("0").rstrip(".") for key, value in figures.items()
            )
            self.stdout.write(f"{name:10} {line}")

    def compare_sizes(self, sizes: Sequence[int], picture: Path | None) -> None:
        """A scratch database for each size, one after the other."""
        found = {}
        for size in sizes:
            ask = ["bench", "--decks", str(size), "--only", "growth", "--format", "json"]
            with self.scratch_database():
                done = subprocess.run(
                    [sys.executable, sys.argv[0], *ask],
                    env=scratch_environment(),
                    stdout=subprocess.PIPE,
                    check=True,
                )
            found[size] = json.loads(done.stdout)["growth"]
        self.stdout.write(growth.growth_table(found))
        if picture:
            picture.write_text(growth.growth_picture(found))

    def in_scratch_database(self) -> int:
        """Run this very command in the scratch database."""
        with self.scratch_database():
            return subprocess.run(
                [sys.executable, *sys.argv], env=scratch_environment(), check=False
            ).returncode

    @contextmanager
    def scratch_database(self) -> Iterator[None]:
        """Made empty, and dropped afterwards."""
        self.sql(f"DROP DATABASE IF EXISTS {SCRATCH} WITH (FORCE)")
        self.sql(f"CREATE DATABASE {SCRATCH}")
        try:
            yield
        finally:
            self.sql(f"DROP DATABASE IF EXISTS {SCRATCH} WITH (FORCE)")

    def sql(self, statement: str) -> None:
        with connection.cursor() as cursor:
            cursor.execute(statement)

    def measure(self, options: dict[str, Any]) -> dict[str, dict[str, float]]:
        now = timezone.now()
        today = timezone.localdate(now)
        self.write_line("Making the schema")
        call_command("migrate", verbosity=0, interactive=False)
        call_command("createcachetable", verbosity=0)
        call_command("collectstatic", interactive=False, verbosity=0)
        self.write_line(f"Inventing {options['decks']:,} decks")
        took = elapsed_seconds(lambda: book.make_bench_book(options["decks"], today))
        self.sql("VACUUM ANALYZE")  # what PostgreSQL does by itself some minutes after such a load
        steps: dict[str, Callable[[], dict[str, float]]] = {
            "search": lambda: search.measure_deck_search(today),
            "forecasts": lambda: forecasts.measure_forecast_refresh(today, now),
            "due": lambda: pages.measure_due_page(
                date(today.year + today.month // 12, today.month % 12 + 1, 1)
            ),
            "today": pages.measure_today_page,
            "lists": lambda: self.measure_lists(options["decks"], today),
            "people": lambda: self.measure_people(options["decks"], today),
            "planning": lambda: planning.measure_reminder_planning(today, now),
            "pacing": lambda: pacing.measure_pacing_plan(today, now),
            "core": core.measure_core_fits,
            "packs": lambda: packs.measure_pack_choice(options["offers"]),
            "offers": lambda: offers.measure_offer_drafting(options["offers"], today, now),
            "pdf": lambda: pdf.measure_offer_pdf(options["offers"], today, now),
            "sending": lambda: sending.measure_delivery(options["messages"], now),
            "unsubscribe": lambda: unsubscribing.measure_unsubscribe(options["messages"], now),
            "rude": rude.measure_rude_visitors,
            "growth": lambda: self.measure_growth(options["decks"], today, now),
            "import": lambda: importing.measure_list_import(options["rows"]),
        }
        results = {"book": {"decks": float(options["decks"]), "made_s": took}}
        for name, step in steps.items():
            wanted = set(options["only"] or {*BENCHES} - {"growth"})
            if name in wanted or (
                name == "forecasts"
                and {"due", "today", "lists", "people", "planning", "pacing"} & wanted
            ):
                self.write_line(f"Measuring {name}")
                results[name] = step()
        return results

    def measure_lists(self, decks: int, today: date) -> dict[str, float]:
        """With a busy business's outbox, offers and diary, which later parts then have too."""
        traffic.make_bench_traffic(decks=decks, today=today)
        self.sql("VACUUM ANALYZE")
        return lists.measure_list_pages(today)

    def measure_people(self, decks: int, today: date) -> dict[str, float]:
        traffic.make_bench_traffic(decks=decks, today=today)
        self.sql("VACUUM ANALYZE")
        return people.measure_busy_people(today)

    def measure_growth(self, decks: int, today: date, now: datetime) -> dict[str, float]:
        actions.refresh_forecasts(today=today, now=now)
        traffic.make_bench_traffic(decks=decks, today=today)
        self.sql("VACUUM ANALYZE")
        return growth.measure_growth(today, now)

    def write_line(self, text: str) -> None:
        self.stderr.write(text)


def scratch_environment() -> dict[str, str]:
    """The same server, the scratch database."""
    connection.ensure_connection()
    info = connection.connection.info
    login = quote(info.user) + (f":{quote(info.password)}" if info.password else "")
    return os.environ | {
        "DATABASE_URL": f"postgresql://{login}@/{SCRATCH}?host={quote(info.host)}&port={info.port}"
    }
