"""Lists that the worker brings in, and what goes wrong on the way."""

import gc
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command
from django.db import DatabaseError
from django.test import Client as Browser
from django.urls import reverse
from freezegun import freeze_time

from clients.models import Business, Client
from jobs import importing, search
from jobs.importing import running
from jobs.models import ImportRow, Job, ListImport, SearchEntry, UnwrittenSearch
from jobs.search import find_decks
from reminders import tasks
from reminders.models import Forecast
from tests.jobs.towns import add_towns

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 11, 29, 15, tzinfo=UTC)


@pytest.fixture(autouse=True)
def _towns(business: Business) -> None:
    add_towns()


@pytest.fixture
def staged(business: Business) -> Callable[[int], ListImport]:
    """A list of so many rows, each of a client with a deck and a job; every seventh has no name."""

    def stage(count: int) -> ListImport:
        rows = [
            f"{f'Ottilie Saltonby{n}' if n % 7 else ''},902-555-{n:04d},"
            f'"{n} Gannet Row, Chester",2021,recoat'
            for n in range(1, count + 1)
        ]
        content = "\n".join(["Name,Phone,Address,Date,Work", *rows]).encode()
        return importing.stage_list(
            name="long.csv", content=content, business=business, by=None, now=NOW
        )[0]

    return stage


@pytest.fixture
def asked(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """What the worker is asked to do."""
    found: list[str] = []
    monkeypatch.setattr(running, "async_task", found.append)
    monkeypatch.setattr(running, "AT_ONCE_ROWS", 50)
    monkeypatch.setattr(running, "ROWS_A_CHUNK", 40)
    return found


def test_a_long_list_is_left_to_the_worker_and_the_page_says_how_far_it_is(
    staged: Callable[[int], ListImport], asked: list[str], as_owner: Browser
) -> None:
    source = staged(120)
    importing.start_import(source=source, now=NOW)
    page = as_owner.get(reverse("lists:detail", args=[source.pk])).content.decode()

    assert asked == ["jobs.importing.continue_imports"]
    assert "0 of 120 rows" in page
    assert not Client.objects.exists()
    importing.continue_imports()
    assert ListImport.objects.get().state == "done"
    assert Client.objects.count() == Forecast.objects.count() == 120 - 120 // 7


@pytest.mark.parametrize(
    ("rows_done", "seconds", "words"),
    [
        # 3 s for 12,300 rows: 87,700 more take 21.4 s; by hand
        (12_300, 3, "12,300 of 100,000 rows, about 21 s left"),
        (10_000, 60, "10,000 of 100,000 rows, about 9 min left"),
        (0, 60, "0 of 100,000 rows<"),  # nothing to go by yet
        (100_000, 60, "100,000 of 100,000 rows, about 1 s left"),
    ],
)
def test_a_running_list_says_how_much_longer_it_takes(
    staged: Callable[[int], ListImport],
    asked: list[str],
    as_owner: Browser,
    rows_done: int,
    seconds: int,
    words: str,
) -> None:
    source = staged(60)
    importing.start_import(source=source, now=NOW)
    begun = NOW - timedelta(seconds=seconds)
    ListImport.objects.update(rows_done=rows_done, rows_total=100_000, started_at=begun)

    with freeze_time(NOW, ignore=["psycopg", "concurrent"]):
        page = as_owner.get(reverse("lists:detail", args=[source.pk])).content.decode()

    assert words in page


def test_the_worker_makes_room_for_other_tasks_and_goes_on_where_it_was(
    staged: Callable[[int], ListImport], asked: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(running, "SLICE_SECONDS", -1)
    source = staged(120)
    importing.start_import(source=source, now=NOW)
    importing.continue_imports()

    assert ListImport.objects.get().rows_done == 40
    assert len(asked) == 2
    for _ in range(3):
        importing.continue_imports()
    assert ListImport.objects.get().state == "done"
    assert Job.objects.count() == 120 - 120 // 7


def test_two_workers_at_one_list_write_each_row_once(
    staged: Callable[[int], ListImport], asked: list[str], business: Business
) -> None:
    """What one has read ahead the other may have written meanwhile."""
    source = staged(200)
    importing.start_import(source=source, now=NOW)
    with ThreadPoolExecutor(max_workers=1) as reader:
        runs = [running.ImportRun(source, business, NOW, reader) for _ in range(2)]
        while sum(run.step() for run in runs):
            pass

    assert Client.objects.count() == Job.objects.count() == 200 - 200 // 7
    assert ListImport.objects.get().rows_done == 200
    assert [run.rows for run in runs] == [120, 80]


def test_circles_are_looked_for_again_after_a_list_whatever_became_of_it(
    staged: Callable[[int], ListImport], asked: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    seen: list[bool] = []

    def note_and_fail(*_given: object) -> None:
        seen.append(gc.isenabled())
        raise DatabaseError("The connection was lost.")

    source = staged(60)
    importing.start_import(source=source, now=NOW)
    monkeypatch.setattr(running, "store_outcomes", note_and_fail)
    with pytest.raises(DatabaseError):
        importing.continue_imports()

    assert seen == [False]
    assert gc.isenabled()


def test_a_chunk_that_fails_leaves_nothing_half_done(
    staged: Callable[[int], ListImport], asked: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    source = staged(120)
    importing.start_import(source=source, now=NOW)
    written = running.store_outcomes
    calls: list[int] = []

    def fail_at_the_second(*given: object) -> None:
        calls.append(1)
        if len(calls) == 2:
            raise DatabaseError("The connection was lost.")
        written(*given)

    monkeypatch.setattr(running, "store_outcomes", fail_at_the_second)
    with pytest.raises(DatabaseError):
        importing.continue_imports()

    assert Client.objects.count() == 40 - 40 // 7
    importing.continue_imports()
    assert Client.objects.count() == 120 - 120 // 7
    assert ImportRow.objects.filter(source=source).counts_by_state() == {"made": 103, "open": 17}


def test_a_long_list_is_undone_by_the_worker(
    staged: Callable[[int], ListImport], asked: list[str]
) -> None:
    source = staged(60)
    importing.start_import(source=source, now=NOW)
    importing.continue_imports()

    assert importing.start_undoing(source=source) == []
    assert Client.objects.exists()
    importing.continue_imports()
    assert not Client.objects.exists()
    assert ListImport.objects.get().state == "undone"


def test_one_bad_row_keeps_no_other_row_out(tmp_path: Path) -> None:
    rows = [f'Client {n},"{n} Tern Wharf, Chester",2020' for n in range(200)]
    rows[77] = 'Client 77,"77 Tern Wharf, Chester",31/31/2020'
    (tmp_path / "list.csv").write_text("\n".join(["Name,Address,Date", *rows]))
    call_command("import_book", str(tmp_path / "list.csv"), guess=True, format="json")

    waiting = ImportRow.objects.get(state="open")
    assert waiting.number == 79
    assert "is not a date we can read" in waiting.why["done"]
    assert Client.objects.count() == 199


def test_by_command_a_dry_run_writes_nothing(tmp_path: Path) -> None:
    (tmp_path / "list.csv").write_text('Name,Address\nBram,"1 Tern Wharf, Chester"\n')
    call_command("import_book", str(tmp_path / "list.csv"), guess=True, dry_run=True)

    assert not Client.objects.exists()
    assert not ListImport.objects.exists()


def test_by_command_a_file_that_is_no_list_is_refused_in_words(tmp_path: Path) -> None:
    (tmp_path / "list.xlsx").write_bytes(b"PK\x03\x04 no zip")

    with pytest.raises(CommandError, match="cannot be read as a spreadsheet"):
        call_command("import_book", str(tmp_path / "list.xlsx"), guess=True)


def deck_of(words: str) -> int:
    return len(find_decks(words, limit=5, today=NOW.date()).hits)


@pytest.mark.django_db(transaction=True)
def test_words_of_the_search_are_written_beside_the_rows_and_all_there_at_the_end(
    staged: Callable[[int], ListImport], asked: list[str]
) -> None:
    source = staged(120)
    importing.start_import(source=source, now=NOW)
    importing.continue_imports()

    assert ListImport.objects.get().state == "done"
    assert not UnwrittenSearch.objects.exists()
    assert SearchEntry.objects.count() == Client.objects.count() == 120 - 120 // 7
    assert [deck_of(f"Saltonby{n}") for n in (41, 118)] == [1, 1]


def test_words_that_a_dead_worker_left_are_written_with_the_next_tick(
    staged: Callable[[int], ListImport], asked: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(search, "write_noted_words", lambda: 0)
    importing.import_now(source=staged(20), now=NOW)
    monkeypatch.undo()
    assert UnwrittenSearch.objects.count() == 1
    assert deck_of("Saltonby5") == 0

    tasks.continue_lists()

    assert deck_of("Saltonby5") == 1
    assert not UnwrittenSearch.objects.exists()
