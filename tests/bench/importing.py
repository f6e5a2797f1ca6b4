"""How fast a long list comes in, and how much memory the process takes for it."""

import csv
import io
import random
import resource
import time
from datetime import date, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory

from django.utils import timezone

from clients.models import Business, Client
from clients.places.loading import load_towns
from jobs.importing import import_now
from jobs.importing.staging import stage_list
from restorer.demo.book import BIRDS, FAMILY, GIVEN
from tests.bench.book import SYLLABLES

HEADS = [
    *("Client", "Phone", "E-mail", "Street", "Town", "Size", "Wood", "Date", "Work", "Product"),
    *("Colour", "Coats", "Price", "Notes"),
]
LIST_TOWNS = ["Lunenburg", "Mahone Bay", "Chester", "Bridgewater", "Liverpool", "Halifax"]
WORK = ["recoat", "recoat", "strip and seal", "clean"]
PRODUCTS = ["Tidewood Clear Guard", "Tidewood Deck Oil", "Sealskin Tint", "Harbour Solid"]
KINDS_OF_WOOD = ["red cedar", "treated pine", "spruce", "ipe"]
AREA_CODES = (782, 204, 250, 306, 403, 416, 418, 450, 506, 514, 519, 587, 604, 613, 705, 709, 780)
PER_CLIENT = 3  # rows


def list_as_csv(rows: int, seed: int = 7) -> bytes:
    """A row a job, three of each client, as an office keeps it."""
    chance = random.Random(seed)
    out = io.StringIO()
    sheet = csv.writer(out)
    sheet.writerow(HEADS)
    for number in range(0, rows, PER_CLIENT):
        name = f"{chance.choice(GIVEN)} {chance.choice(FAMILY)}{chance.choice(SYLLABLES)}{number}"
        who = [
            name,
            phone_of(number),
            f"listed{number}@example.org",
            f"{number % 900 + 1} {chance.choice(BIRDS)} Road {number // 900}",
            chance.choice(LIST_TOWNS),
            f"{chance.randint(10, 60)} m2",
            chance.choice(KINDS_OF_WOOD),
        ]
        for year in range(min(PER_CLIENT, rows - number)):
            day = date(2019 + 2 * year, 5, 1) + timedelta(days=chance.randint(0, 120))
            sheet.writerow(
                [
                    *who,
                    day.isoformat(),
                    chance.choice(WORK),
                    chance.choice(PRODUCTS),
                    "Driftwood",
                    chance.randint(1, 2),
                    f"${chance.randint(200, 2000)}.00",
                    chance.choice(["", "", "gate on the left", "dog"]),
                ]
            )
    return out.getvalue().encode()


def phone_of(number: int) -> str:
    """Everybody has one of their own; 555 is nobody's exchange."""
    return f"{AREA_CODES[number // 10_000]}-555-{number % 10_000:04d}"


def measure_list_import(rows: int) -> dict[str, float]:
    """Reading the file into the book's own rows is `staging_s`; `rows_per_s` is all of it, with
    search words and forecasts. No client of the list is in the book yet."""
    business = Business.objects.get()
    load_towns()
    clients_before = Client.objects.count()
    with TemporaryDirectory() as folder:
        path = Path(folder, "list.csv")
        path.write_bytes(list_as_csv(rows))
        began = time.perf_counter()
        (source,) = stage_list(
            name=path.name,
            content=path.read_bytes(),
            business=business,
            by=None,
            now=timezone.now(),
        )
    staged = time.perf_counter()
    done = import_now(source=source, now=timezone.now())
    ended = time.perf_counter()
    made = Client.objects.count() - clients_before
    assert done.counts["jobs"] == rows, done.counts
    return {
        "rows": rows,
        "clients": made,
        "rows_per_s": rows / (ended - began),
        "staging_s": staged - began,
        "writing_s": ended - staged,
        "peak_mib": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024,
    }
