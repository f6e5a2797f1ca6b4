"""Every page that lists the book, whole as a browser gets it, against the SQL it runs: how many
questions it asks, how many rows come back, how long it takes."""

import time
from datetime import date

from django.db import connection
from django.test import Client as Browser

from clients.doubles import look_through_book
from tests.bench.pages import bench_owner, questions_of_page, run_statements
from tests.bench.timing import collecting_as_served, percentile, time_in_turn

PAIRS = 7


def list_addresses(today: date) -> dict[str, str]:
    """Today stands first: it is what an owner opens on a Monday morning."""
    return {
        "Today": "/",
        "Today, all decks": "/?tab=all",
        "Today, by price": "/?tab=all&sort=price",
        "to settle": "/?inbox=open",
        "due list": f"/due/{today:%Y-%m}/",
        "due before": f"/due/{today:%Y-%m}/?earlier=1",
        "clients": "/clients/",
        "clients, looked up": "/clients/?q=otti",
        "clients, last page": "/clients/?page=100000",
        "likely doubles": "/clients/doubles/",
        "my customers": "/clients/customers/",
        "search": "/decks/?q=recoats+2025+lunenburg",
        "outbox": "/outbox/",
        "diary": "/diary/",
        "offers": "/offers/",
        "ledger": "/jobs/ledger/",
        "products": "/jobs/products/",
        "calls": "/outbox/calls/",
        "letters": "/outbox/letters/",
        "audit trail": "/settings/audit/",
        "figures": "/figures/",
        "a deck": "/decks/302/",
        "a client": "/clients/302/",
    }


def measure_list_pages(today: date) -> dict[str, float]:
    """Of each page: milliseconds (median), those that our own process was busy, the ratio to its
    own SELECTs, SELECTs, their rows, and kilobytes."""
    browser = Browser(headers={"host": "127.0.0.1"})
    browser.force_login(bench_owner())
    look_through_book()  # the worker does it; the page asks for it
    results: dict[str, float] = {}
    with collecting_as_served():
        for name, address in list_addresses(today).items():
            for figure, value in measure_list_page(browser, address).items():
                results[f"{name}: {figure}"] = value
    return results


def measure_list_page(browser: Browser, address: str) -> dict[str, float]:
    answer = browser.get(address)  # what is kept for a while is there
    statements = questions_of_page(browser, address)
    pair = time_in_turn(
        lambda: browser.get(address), lambda: run_statements(statements), times=PAIRS
    )
    began = time.process_time()
    for _ in range(PAIRS):
        browser.get(address)
    return {
        "ms": 1000 * percentile(pair.ours, 0.5),
        "python_ms": 1000 * (time.process_time() - began) / PAIRS,
        "times_sql": pair.ratio,
        "selects": float(len(statements)),
        "rows": float(count_rows(statements)),
        "kilobytes": len(answer.content) / 1000,
    }


def count_rows(statements: list[str]) -> int:
    """All rows that came back to draw the page."""
    connection.ensure_connection()
    with connection.connection.cursor() as cursor:
        return sum(len(cursor.execute(statement).fetchall()) for statement in statements)
