"""An invented book of any size, made by COPY:
one client, property and deck each, about three jobs a deck."""

from collections.abc import Iterable, Iterator
from datetime import date, timedelta
from random import Random
from typing import Any

from django.db import connection, transaction

from clients.models import Business
from jobs import search
from jobs.models import Batch, Product
from restorer.demo.book import BIRDS, ENDINGS, FAMILY, GIVEN, make_business, make_products

TOWNS = [
    ("Lunenburg", 44.377, -64.318),
    ("Mahone Bay", 44.448, -64.381),
    ("Chester", 44.541, -64.239),
    ("Bridgewater", 44.378, -64.519),
    ("Liverpool", 44.038, -64.718),
    ("Yarmouth", 43.837, -66.117),
    ("Halifax", 44.648, -63.575),
    ("Truro", 45.366, -63.281),
    ("Digby", 44.617, -65.761),
    ("Wolfville", 45.091, -64.364),
]
COLUMNS = {
    "clients_client": (
        "id, name, salutation, language, preferred_channel, postal_street, postal_town,"
        " postal_region, postal_postcode, postal_country, notes"
    ),
    "clients_contactpoint": (
        "client_id, kind, value, normalized, label, is_preferred, suspended_why"
    ),
    "clients_consent": (
        "client_id, channel, is_given, basis, wording, evidence, asked_by, asked_where"
    ),
    "clients_property": (
        "id, client_id, street, town, region, postcode, country, latitude, longitude, time_zone, "
        "access_notes"
    ),
    "clients_deck": (
        "id, property_id, label, area_m2, rail_m, stair_treads, species, texture, roof_percent, "
        "summer_shade_percent, winter_shade_percent, airflow, traffic, salt, pool, litter, notes"
    ),
    "jobs_job": "id, deck_id, kind, finished_on, crew, sky, currency, notes, form_key, source",
    "jobs_coatapplied": "job_id, position, product_id, batch_id, colour, surfaces, coats, litres",
}
SPECIES = ["treated_pine", "red_cedar", "spruce", "ipe", "larch"]
SYLLABLES = "ba ko ri ten mor vel sa du lin gar pe nok tha wim sel or".split()


def copy_rows(table: str, rows: Iterable[tuple[Any, ...]]) -> None:
    with (
        connection.cursor() as cursor,
        cursor.copy(f"COPY {table} ({COLUMNS[table]}) FROM STDIN") as out,
    ):
        for row in rows:
            out.write_row(row)


def random_surname(random: Random) -> str:
    """A made-up family name; a book has many, and the search has to tell them apart."""
    return "".join(random.choices(SYLLABLES, k=3)).title()


@transaction.atomic
def make_bench_book(decks: int, today: date) -> Business:
    """Fill an empty database; search words are made once at the end, as an import does."""
    random = Random(7)
    search.search_later()
    business = make_business()
    shelf = make_products(random)
    ids = range(1, decks + 1)
    copy_rows(
        "clients_client",
        ((n, f"{random.choice(GIVEN)} {random_surname(random)}", *[""] * 9) for n in ids),
    )
    copy_rows("clients_contactpoint", contact_rows(ids))
    copy_rows(
        "clients_consent",
        (
            (n, "email", True, "express", "Yes, remind me by e-mail.", "sign-off form", "", "")
            for n in ids
        ),
    )
    copy_rows("clients_property", property_rows(random, ids))
    copy_rows("clients_deck", bench_deck_rows(random, ids))
    jobs = list(job_rows(random, ids, today))
    copy_rows("jobs_job", ((*row, "Tern crew", "", "", "", f"{row[0]:032x}", "") for row in jobs))
    copy_rows("jobs_coatapplied", coat_rows(random, jobs, shelf.finishes, shelf.batches))
    finish_load()
    return business


def contact_rows(ids: Iterable[int]) -> Iterator[tuple[Any, ...]]:
    for n in ids:
        yield n, "email", f"client{n}@example.org", f"client{n}@example.org", "", True, ""
        number = f"+1902555{100 + n % 100:04d}"
        yield n, "mobile", number, number, "", True, ""


def property_rows(random: Random, ids: Iterable[int]) -> Iterator[tuple[Any, ...]]:
    for n in ids:
        town, latitude, longitude = random.choice(TOWNS)
        street = (
            f"{n % 900 + 1} {random.choice(BIRDS)} {random.choice(FAMILY)} {random.choice(ENDINGS)}"
        )
        yield (
            n,
            n,
            street,
            town,
            "Nova Scotia",
            "",
            "CA",
            latitude,
            longitude,
            "America/Halifax",
            "",
        )


def bench_deck_rows(random: Random, ids: Iterable[int]) -> Iterator[tuple[Any, ...]]:
    for n in ids:
        shade = random.choice([0, 0, 20, 50])
        yield (
            n,
            n,
            "Back deck",
            random.randint(90, 600) / 10,
            0,
            0,
            random.choice(SPECIES),
            "smooth",
            random.choice([0, 0, 0, 40]),
            shade,
            shade,
            "open",
            random.choice(["light", "household", "heavy"]),
            random.choice(["none", "near"]),
            False,
            "some",
            "",
        )


def job_rows(
    random: Random, ids: Iterable[int], today: date
) -> Iterator[tuple[int, int, str, date]]:
    """(job, deck, kind, day): a strip, then recoats about yearly up to the last year and a half."""
    job = 0
    for n in ids:
        day = today - timedelta(days=random.randint(500, 1500))
        kind = "strip"
        while day < today - timedelta(days=random.randint(20, 500)):
            job += 1
            yield job, n, kind, day
            day = day + timedelta(days=random.randint(330, 620))
            kind = "recoat"


def coat_rows(
    random: Random,
    jobs: Iterable[tuple[int, int, str, date]],
    finishes: list[Product],
    batches: dict[int, list[Batch]],
) -> Iterator[tuple[Any, ...]]:
    for job, deck, _, day in jobs:
        product = finishes[deck % len(finishes)]
        batch = batches[product.pk][min(8, max(0, day.year - 2018))]
        yield (
            job,
            1,
            product.pk,
            batch.pk,
            random.choice(product.colour_list),
            ["boards"],
            2,
            random.randint(20, 90) / 10,
        )


def finish_load() -> None:
    """Sequences after the highest id, search words, and statistics for the planner."""
    with connection.cursor() as cursor:
        for table in ("clients_client", "clients_property", "clients_deck", "jobs_job"):
            highest = f"SELECT max(id) FROM {table}"  # noqa: S608
            cursor.execute(f"SELECT setval(pg_get_serial_sequence('{table}', 'id'), ({highest}))")
        search.refresh_search()
        cursor.execute("ANALYZE")
