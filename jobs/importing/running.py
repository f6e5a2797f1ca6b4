"""Bringing a checked list in, chunk by chunk: a short list by the page, a long one by the worker.

What was written stays written; after a stop it goes on at the next row.
"""

import json
import time
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from functools import partial

from auditlog.context import disable_auditlog, set_actor
from django.db import connection, transaction
from django.utils import timezone
from django_q.tasks import async_task

from clients.collecting import without_collecting
from clients.models import Business
from jobs import search
from jobs.actions.jobs import follow_job_changes
from jobs.importing.asking import (
    ListReading,
    StagedRow,
    book_facts,
    grouped_by_invoice,
    rows_of,
)
from jobs.importing.guessing import FIELDS_BY_NAME
from jobs.importing.rows import ListRow, UnitRead
from jobs.importing.writing import ChunkWriter, Outcome, remove_made_rows, what_was_built_on
from jobs.models import ImportRow, ListImport

ROWS_A_CHUNK = 1_000
BEFORE_ALL = -1  # no row has this ordinal
ROWS_BEYOND = 300  # to see where an invoice ends
AT_ONCE_ROWS = 1_500  # as many are brought in while the page waits
SLICE_SECONDS = 25  # of the worker, which has other things to do too
ANALYZED_TABLES = (
    *("clients_client", "clients_contactpoint", "clients_property", "clients_deck"),
    *("jobs_job", "jobs_coatapplied", "jobs_searchentry", "reminders_forecast"),
    "reminders_surfaceforecast",
)
MAX_WAKES = 2  # of the thread: at work, and once more for what came meanwhile
CONTINUE = "jobs.importing.continue_imports"
State = ListImport.State


class ImportConflict(Exception):  # noqa: N818 - it is no fault
    """The list is in another state by now; the message says which."""


def start_import(*, source: ListImport, now: datetime) -> None:
    """Let the list come in: at once if it is short, else by the worker."""
    open_run(source, now)
    wake(source)


def import_now(*, source: ListImport, now: datetime) -> ListImport:
    """Bring the whole list in before going on, however long it is: for the command."""
    open_run(source, now)
    continue_import(source.pk, deadline=None)
    return ListImport.objects.get(pk=source.pk)


def open_run(source: ListImport, now: datetime) -> None:
    with transaction.atomic():
        row = ListImport.objects.select_for_update().get(pk=source.pk)
        if row.state != State.ASKING:
            raise ImportConflict(f"This list is {row.get_state_display().lower()} already.")
        order_lines_of_invoices(row)
        ListImport.objects.filter(pk=row.pk).update(
            state=State.RUNNING, started_at=now, mapping=source.mapping, decisions=source.decisions
        )


def wake(source: ListImport) -> None:
    if source.rows_total <= AT_ONCE_ROWS:
        continue_import(source.pk, deadline=None)
    else:
        async_task(CONTINUE)


def continue_imports() -> str:
    """The worker: go on for a while, then make room for other tasks and come back."""
    deadline = time.monotonic() + SLICE_SECONDS
    search.write_noted_words()  # should somebody have died before it was done
    done = 0
    for pk in list(ListImport.objects.working().order_by("pk").values_list("pk", flat=True)):
        done += continue_import(pk, deadline=deadline)
        if time.monotonic() > deadline:
            break
    if ListImport.objects.working().exists():
        async_task(CONTINUE)
    return f"{done} rows"


def continue_import(pk: int, *, deadline: float | None) -> int:
    """Chunks until the list is in or the time is over; how many rows."""
    source = ListImport.objects.get(pk=pk)
    if source.state == State.UNDOING:
        finish_undoing(source, timezone.now())
        return source.rows_total
    business = Business.current()
    if business is None or source.state != State.RUNNING:
        return 0
    with (
        without_collecting() as collect,
        writing_words() as wake_writer,
        ThreadPoolExecutor(max_workers=1) as reader,
    ):
        run = ImportRun(source, business, timezone.now(), reader)
        while run.step():
            collect()
            wake_writer()
            if deadline is not None and time.monotonic() > deadline:
                return run.rows
    finish_import(source, timezone.now())
    return run.rows


@contextmanager
def writing_words() -> Iterator[Callable[[], object]]:
    """What is noted for the search is written by a thread of its own, so that the database works
    on it while the next rows are read; when this ends, all of it is. Within a transaction nobody
    else would see the notes: there it is written at once."""
    if connection.in_atomic_block:
        yield search.write_noted_words
        return
    with ThreadPoolExecutor(max_workers=1) as pool:
        waiting: list[Future[int]] = []

        def wake_writer() -> None:
            waiting[:] = [each for each in waiting if not is_over(each)]
            if len(waiting) < MAX_WAKES:
                waiting.append(pool.submit(write_in_thread))

        try:
            yield wake_writer
        finally:
            for each in [*waiting, pool.submit(write_in_thread)]:
                each.result()


def is_over(work: "Future[int]") -> bool:
    """Raises what the thread raised."""
    return work.done() and work.result() >= 0


def write_in_thread() -> int:
    """With a connection of this thread, which ends with it."""
    try:
        return search.write_noted_words()
    finally:
        connection.close()


@dataclass(frozen=True)
class ReadChunk:
    """The next rows, and what they say: read already, or being read."""

    rows: Sequence[StagedRow]
    units: Callable[[], list[UnitRead]]


@dataclass
class ImportRun:
    """One stretch of work on one list. With a `reader` the next rows are read while the database
    writes."""

    source: ListImport
    business: Business
    now: datetime
    reader: ThreadPoolExecutor | None = None
    rows: int = 0
    analyzed_at: int = 0
    ahead: ReadChunk | None = None
    rows_done: int = -1  # of the list, as this run left it

    def __post_init__(self) -> None:
        self.reading = ListReading(self.source, book_facts(self.business, self.now))
        self.writer = ChunkWriter(
            source=self.source,
            book=self.reading.book,
            answers=self.reading.answers,
            now=self.now,
        )
        self.reading.forget_facts()

    def step(self) -> bool:
        """The next chunk; whether there may be more."""
        with transaction.atomic():
            set_up_chunk()
            locked = ListImport.objects.select_for_update().get(pk=self.source.pk)
            if locked.state != State.RUNNING:
                return False
            chunk = self.next_chunk(locked)
            if not chunk.rows:
                return False
            units = chunk.units()
            if self.reader:
                self.ahead = self.read_chunk(chunk.rows[-1].ordinal)
            outcomes = self.writer.write(units)
            store_outcomes(self.source, outcomes)
            self.rows_done = store_progress(locked, units, outcomes, self.writer)
        self.rows += len(chunk.rows)
        if self.rows >= 2 * self.analyzed_at + ROWS_A_CHUNK:
            analyze_grown_tables()
            self.analyzed_at = self.rows
        return True

    def next_chunk(self, locked: ListImport) -> ReadChunk:
        """What was read ahead, unless another worker has been at the list since."""
        ahead = self.ahead
        if ahead and locked.rows_done == self.rows_done:
            return ahead
        if ahead:
            ahead.units()  # one at a time
        return self.read_chunk(BEFORE_ALL)

    def read_chunk(self, after: int) -> ReadChunk:
        """Of the rows beyond that ordinal."""
        rows = self.next_rows(after)
        listed = rows_of(self.source, rows)
        if self.reader:
            return ReadChunk(rows, self.reader.submit(self.units_of, listed).result)
        return ReadChunk(rows, partial(self.units_of, listed))

    def units_of(self, listed: Sequence[ListRow]) -> list[UnitRead]:
        return list(self.reading.units(listed))

    def next_rows(self, after: int) -> list[StagedRow]:
        """Whole invoices only."""
        rows = waiting_rows(self.source, ROWS_A_CHUNK + ROWS_BEYOND, after)
        if len(rows) <= ROWS_A_CHUNK:
            return rows
        plain = [ListRow(at, row.cells) for at, row in enumerate(rows)]
        ends = [group[-1].number + 1 for group in grouped_by_invoice(plain, self.source.mapping)]
        end = next((end for end in ends if end >= ROWS_A_CHUNK), ROWS_A_CHUNK)
        return rows[:end]


def set_up_chunk() -> None:
    """A commit does not wait for the disk: what a crash takes of it goes together with the rows
    that say it was done, so it is done again; the end of the list waits. A chunk asks for few rows
    of large tables: without a word to the planner it reads them whole."""
    with connection.cursor() as cursor:
        cursor.execute("SET LOCAL synchronous_commit = off; SET LOCAL random_page_cost = 1.1")


def waiting_rows(source: ListImport, most: int, after: int) -> list[StagedRow]:
    """The next ones in order. As JSON, which is read many times faster than arrays are."""
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT number, ordinal, to_json(cells)::text FROM jobs_importrow"
            " WHERE source_id = %s AND state = %s AND ordinal > %s ORDER BY ordinal LIMIT %s",
            [source.pk, ImportRow.State.WAITING, after, most],
        )
        return [
            StagedRow(source.pk, number, ordinal, json.loads(cells))
            for number, ordinal, cells in cursor.fetchall()
        ]


def order_lines_of_invoices(source: ListImport) -> None:
    """Lines of one invoice follow each other, wherever they stand in the sheet."""
    if "invoice" not in source.mapping:
        return
    at = source.mapping.index("invoice") + 1
    with connection.cursor() as cursor:
        cursor.execute(
            "UPDATE jobs_importrow SET ordinal = placed.place FROM (SELECT id, row_number() OVER"
            " (ORDER BY first, number) AS place FROM (SELECT id, number, min(number) OVER"
            " (PARTITION BY coalesce(nullif(cells[%s], ''), id::text)) AS first"
            " FROM jobs_importrow WHERE source_id = %s) grouped) placed"
            " WHERE placed.id = jobs_importrow.id AND ordinal <> placed.place",
            [at, source.pk],
        )


def store_outcomes(source: ListImport, outcomes: Sequence[Outcome]) -> None:
    """What came of each row, in one statement; of the lines of an invoice the first one tells."""
    rows = [
        {
            "number": number,
            "state": outcome.state,
            "why": outcome.why,
            "remarks": " ".join(dict.fromkeys(outcome.remarks))[:2_000],
            "client_id": outcome.client_id,
            "deck_id": outcome.deck_id,
            "made": outcome.made if at == 0 else {},
            "before": outcome.before if at == 0 else [],
        }
        for outcome in outcomes
        for at, number in enumerate(outcome.numbers)
    ]
    with connection.cursor() as cursor:
        cursor.execute(
            "UPDATE jobs_importrow SET state = came.state, why = came.why, remarks = came.remarks,"
            " client_id = came.client_id, deck_id = came.deck_id, made = came.made,"
            " before = came.before FROM json_to_recordset(%s) AS came (number int, state text,"
            " why jsonb, remarks text, client_id bigint, deck_id bigint, made jsonb, before jsonb)"
            " WHERE jobs_importrow.source_id = %s AND jobs_importrow.number = came.number",
            [json.dumps(rows), source.pk],
        )


def store_progress(
    source: ListImport,
    units: Sequence[UnitRead],
    outcomes: Sequence[Outcome],
    writer: ChunkWriter,
) -> int:
    """How far it is, and what was made so far; returns how many rows are done."""
    counts: Counter[str] = Counter(source.counts)
    for outcome in outcomes:
        counts.update({kind: len(keys) for kind, keys in outcome.made.items()})
        counts["changed"] += len(outcome.before)
    for kind, keys in writer.coats.made.items():
        counts[kind] = len(set(source.made.get(kind, [])) | set(keys))
        source.made[kind] = sorted({*source.made.get(kind, []), *keys})
    done = min(source.rows_done + sum(len(unit.numbers) for unit in units), source.rows_total)
    ListImport.objects.filter(pk=source.pk).update(
        counts=dict(counts), made=source.made, rows_done=done
    )
    return done


def analyze_grown_tables() -> None:
    """A table that has grown tenfold is planned as if it had not, until this is said."""
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT relname FROM pg_stat_user_tables WHERE relname = ANY (%s)"
            " AND n_mod_since_analyze > n_live_tup / 3",
            [list(ANALYZED_TABLES)],
        )
        for (table,) in cursor.fetchall():
            cursor.execute(f"ANALYZE {table}")


def finish_import(source: ListImport, now: datetime) -> None:
    """The one entry of the audit trail that a list leaves."""
    with transaction.atomic():
        row = ListImport.objects.select_for_update().get(pk=source.pk)
        if row.state != State.RUNNING:
            return
        row.state = State.DONE
        row.finished_at = now
        with set_actor(row.recorded_by):
            row.save()


def mend_row(
    *, row: ImportRow, cells: Mapping[str, str], business: Business, now: datetime
) -> ImportRow:
    """Cells written again (field → text), and the row read; it comes in if nothing is missing."""
    with transaction.atomic():
        source = ListImport.objects.select_for_update().get(pk=row.source_id)
        row = ImportRow.objects.select_for_update().get(pk=row.pk)
        if row.state != ImportRow.State.TO_COMPLETE or source.state != State.DONE:
            raise ImportConflict("This row is no longer waiting.")
        group = group_of_row(source, row)
        for field, text in cells.items():
            at = column_for(source, field)
            row.cells = row.cells + [""] * (at + 1 - len(row.cells))
            row.cells[at] = text
        row.save(update_fields=["cells"])
        group = [row if each.pk == row.pk else each for each in group]
        run = ImportRun(source, business, now)
        units = list(run.reading.units(rows_of(source, group)))
        outcomes = run.writer.write(units)
        store_outcomes(source, outcomes)
        source.rows_done -= sum(len(unit.numbers) for unit in units)
        store_progress(source, units, outcomes, run.writer)
    search.write_noted_words()
    return ImportRow.objects.get(pk=row.pk)


def column_for(source: ListImport, field: str) -> int:
    """The column that tells it; the list gets one more if none does."""
    if field in source.mapping:
        return source.mapping.index(field)
    source.heads = [*source.heads, FIELDS_BY_NAME[field].words]
    source.mapping = [*source.mapping, field]
    source.scores = [*source.scores, 1.0]
    ListImport.objects.filter(pk=source.pk).update(
        heads=source.heads, mapping=source.mapping, scores=source.scores
    )
    return len(source.mapping) - 1


def group_of_row(source: ListImport, row: ImportRow) -> list[ImportRow]:
    """The row with the other lines of its invoice."""
    at = source.mapping.index("invoice") if "invoice" in source.mapping else None
    invoice = row.cell(at) if at is not None else ""
    if not invoice:
        return [row]
    waiting = ImportRow.objects.filter(source=source).to_complete()
    return [each for each in waiting if each.cell(at or 0) == invoice] or [row]


def leave_row_out(*, row: ImportRow) -> None:
    ImportRow.objects.filter(pk=row.pk, state=ImportRow.State.TO_COMPLETE).update(
        state=ImportRow.State.LEFT_OUT
    )


def start_undoing(*, source: ListImport) -> list[str]:
    """Take the list out of the book again; returns in words what stands against it, if anything."""
    with transaction.atomic():
        row = ListImport.objects.select_for_update().get(pk=source.pk)
        if row.state != State.DONE:
            raise ImportConflict(f"This list is {row.get_state_display().lower()}.")
        built = what_was_built_on(row)
        if built:
            return [str(each) for each in built]
        ListImport.objects.filter(pk=row.pk).update(state=State.UNDOING)
    wake(source)
    return []


@transaction.atomic
def finish_undoing(source: ListImport, now: datetime) -> None:
    """All of it or nothing."""
    row = ListImport.objects.select_for_update().get(pk=source.pk)
    if row.state != State.UNDOING:
        return
    built = what_was_built_on(row)
    if built:
        ListImport.objects.filter(pk=row.pk).update(state=State.DONE)
        return
    search.search_later()
    decks, clients = remove_made_rows(row)
    search.refresh_search(clients)
    if decks:
        follow_job_changes(deck_ids=decks, now=now)
    with disable_auditlog():
        ImportRow.objects.filter(source=row).update(
            state=ImportRow.State.WAITING, made={}, before=[], remarks="", why={}
        )
    row.state = State.UNDONE
    row.finished_at = now
    with set_actor(row.recorded_by):
        row.save()


def reopen_import(*, source: ListImport) -> None:
    """An undone list may be checked and brought in again."""
    ListImport.objects.filter(pk=source.pk, state=State.UNDONE).update(
        state=State.ASKING, counts={}, made={}, rows_done=0, started_at=None, finished_at=None
    )


def save_answers(*, source: ListImport) -> None:
    """Keep what a person chose and answered, for this list and for the next with its columns."""
    ListImport.objects.filter(pk=source.pk, state=State.ASKING).update(
        mapping=source.mapping, decisions=source.decisions
    )


@transaction.atomic
def forget_list(*, source: ListImport) -> bool:
    """Remove a list that has nothing in the book; False if it has."""
    row = ListImport.objects.select_for_update().get(pk=source.pk)
    if row.state not in {State.ASKING, State.UNDONE}:
        return False
    with disable_auditlog():
        ImportRow.objects.filter(source=row)._raw_delete(using="default")
        row.delete()
    return True
