"""The pages Today and due list, whole as a browser gets them, against the SQL they run."""

from collections.abc import Sequence
from datetime import date

from django.db import connection
from django.test import Client as Browser
from django.test.utils import CaptureQueriesContext, override_settings

from clients.models import User
from tests.bench.timing import collecting_as_served, percentile, time_in_turn


def questions_of_page(browser: Browser, address: str) -> list[str]:
    """All that the page reads, in the words that PostgreSQL plans; some begin with WITH or a
    bracket."""
    with override_settings(POOLED_DATABASE=True), CaptureQueriesContext(connection) as captured:
        answer = browser.get(address)
    if answer.status_code != 200:
        raise RuntimeError(f"{address} answers {answer.status_code}.")
    asked = (query["sql"] for query in captured)
    return [sql for sql in asked if sql.lstrip("( \n").startswith(("SELECT", "WITH"))]


def run_statements(statements: Sequence[str]) -> None:
    """The same statements by a bare cursor, every row fetched."""
    connection.ensure_connection()
    with connection.connection.cursor() as cursor:
        for statement in statements:
            cursor.execute(statement)
            if cursor.description:
                cursor.fetchall()


def measure_due_page(month: date) -> dict[str, float]:
    return measure_page(f"/due/{month:%Y-%m}/")


def measure_today_page() -> dict[str, float]:
    """At most about 1.5 times its own SQL is wanted, and at most 150 kB in one transfer."""
    return measure_page("/")


def measure_page(address: str) -> dict[str, float]:
    browser = Browser(headers={"host": "127.0.0.1"})
    browser.force_login(bench_owner())
    answer = browser.get(address)  # what is kept for an hour is there
    statements = questions_of_page(browser, address)
    with collecting_as_served():
        pair = time_in_turn(
            lambda: browser.get(address), lambda: run_statements(statements), times=11
        )
    return {
        "statements": float(len(statements)),
        "page_ms": 1000 * percentile(pair.ours, 0.5),
        "sql_ms": 1000 * percentile(pair.other, 0.5),
        "ratio": pair.ratio,
        "kilobytes": len(answer.content) / 1000,
    }


def bench_owner() -> User:
    """Somebody who may see the page."""
    user, _ = User.objects.get_or_create(username="bench", defaults={"role": User.Role.OWNER})
    return user
