"""The search against the raw SQL it ends in."""

from functools import partial

from django.db import connection

from jobs import search
from tests.bench.timing import percentile, time_in_turn

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
]


def run_final_query(query: str) -> list[tuple[object, ...]]:
    with connection.cursor() as cursor:
        cursor.execute(search.RANKED_HITS_SQL, [query, 50, 0])
        return cursor.fetchall()


def final_query(text: str) -> str:
    return " & ".join(
        search.tsquery_term(*reading) for reading in search.word_readings(search.search_words(text))
    )


def measure_deck_search() -> dict[str, float]:
    """p95 of whole searches in milliseconds, and the median ratio to the final query alone."""
    seconds: list[float] = []
    ratios: list[float] = []
    for text in SEARCHES:
        query = final_query(text)
        pair = time_in_turn(
            partial(search.find_decks, text), partial(run_final_query, query), times=15
        )
        seconds += pair.ours
        ratios.append(pair.ratio)
    return {
        "p95_ms": 1000 * percentile(seconds, 0.95),
        "ratio": sorted(ratios)[len(ratios) // 2],
        "worst": max(ratios),
    }
