"""The search, with years and filters, against the raw SQL it ends in."""

from datetime import date
from functools import partial
from statistics import median
from typing import Any

from django.db import connection

from jobs import search
from tests.bench.timing import elapsed_seconds, percentile, time_in_turn

SEARCHES = [
    "ottilie",
    "otilie",
    "brigid tenmorvel",
    "0123",
    "902-555-0123",
    "halifax",
    "tidewood slate",
    "gannet wharf",
    "TDO-24",
    "quillfether lane",
    "client77",
    "mahoney bay",
    "lunenberg plover",
    "honey",
    "larkmoor walnut 2",
    "brigid 2024",
    "halifax 2025",
    "strips 2024 lunenburg",
    "tidewood 2025",
    "june 2025 truro",
    "recoats",
    "mahone bay overdue",
    "ottilie 1987",
    "ottlie 2025",
    "oitlie",
]
NARROWED = [
    ("", search.SearchFilters(town="Digby", year=2025)),
    ("", search.SearchFilters(species="ipe", finish="penetrating_oil", year=2024)),
    ("", search.SearchFilters(product="deck oil", year=2025)),
    ("strips", search.SearchFilters(town="Chester", year=2024, archived="no")),
    ("ottilie", search.SearchFilters(species="larch", archived="no")),
    ("", search.SearchFilters(state="booked")),
]
TIMES = 15


def run_statement(sql: str, values: list[Any]) -> list[tuple[Any, ...]]:
    with connection.cursor() as cursor:
        cursor.execute(sql, values)
        return cursor.fetchall()


def final_statement(text: str, filters: search.SearchFilters, today: date) -> tuple[str, list[Any]]:
    asked = search.find_decks(text, filters=filters, today=today).asked
    return asked.statement(asked.search_query(is_strict=True), 50)


def measure_deck_search(today: date) -> dict[str, float]:
    """p95 of whole searches in milliseconds, and the median ratio to the final query alone."""
    seconds: list[float] = []
    ratios: list[float] = []
    slowest = 0.0
    for text, filters in [*((text, search.NO_FILTERS) for text in SEARCHES), *NARROWED]:
        sql, values = final_statement(text, filters, today)
        find = partial(search.find_decks, text, filters=filters, today=today)
        if not sql:  # no word of it is in the book
            seconds += [elapsed_seconds(find) for _ in range(TIMES)]
            continue
        pair = time_in_turn(find, partial(run_statement, sql, values), times=TIMES)
        seconds += pair.ours
        ratios.append(pair.ratio)
        slowest = max(slowest, median(pair.ours))
    return {
        "p95_ms": 1000 * percentile(seconds, 0.95),
        "slowest_kind_ms": 1000 * slowest,
        "ratio": sorted(ratios)[len(ratios) // 2],
        "worst": max(ratios),
    }
