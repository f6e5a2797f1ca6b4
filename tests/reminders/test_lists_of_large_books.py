"""Every list reads one page of the book, in as many questions, however large the book is."""

from datetime import date

import pytest
from django.db import connection, transaction
from django.test import Client as Browser
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from reminders.actions import refresh_forecasts
from tests.bench.book import make_bench_book
from tests.bench.lists import count_rows, list_addresses
from tests.bench.pages import bench_owner
from tests.bench.traffic import make_bench_traffic

SMALL, LARGE = 600, 1_800
# a chart of months, and what is answered from, not listed
COUNTED_OTHERWISE = {"figures"}


@pytest.mark.slow
@pytest.mark.django_db
def test_no_list_asks_more_or_reads_more_of_a_book_three_times_as_large() -> None:
    small = questions_and_rows(SMALL)
    large = questions_and_rows(LARGE)

    assert small.keys() >= {"Today", "due list", "clients", "ledger", "offers", "outbox", "search"}
    for name, (questions, rows) in small.items():
        more_questions, more_rows = large[name]
        assert more_questions <= questions, name
        assert more_rows < 1.5 * rows + 20, name


def questions_and_rows(decks: int) -> dict[str, tuple[int, int]]:
    """Of each list, in a book that is there for as long as this takes."""
    now = timezone.now()
    today = timezone.localdate(now)
    with transaction.atomic():
        make_bench_book(decks, today)
        refresh_forecasts(today=today, now=now)
        make_bench_traffic(decks=decks, today=today)
        with connection.cursor() as cursor:
            cursor.execute("ANALYZE")  # as the server does by itself, but not within a transaction
        found = read_lists(today)
        transaction.set_rollback(True)
    return found


def read_lists(today: date) -> dict[str, tuple[int, int]]:
    browser = Browser(headers={"host": "127.0.0.1"})
    browser.force_login(bench_owner())
    found = {}
    for name, address in list_addresses(today).items():
        if name in COUNTED_OTHERWISE:
            continue
        browser.get(address)  # what is kept for a while is there
        with CaptureQueriesContext(connection) as captured:
            assert browser.get(address).status_code == 200, name
        asked = [each["sql"] for each in captured if each["sql"].startswith("SELECT")]
        found[name] = len(asked), count_rows(asked)
    return found
