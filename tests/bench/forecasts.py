"""Refreshing every forecast against a bare COPY of the same rows."""

import statistics
from datetime import date, datetime
from functools import partial

from django.db import connection, transaction

from reminders import actions
from reminders.forecasting import storing
from reminders.models import Forecast
from tests.bench.timing import elapsed_seconds, percentile, time_in_turn

SINGLE_REFRESHES = 200  # decks refreshed singly, as after a logged job
COLUMNS = [str(field.column) for field in Forecast._meta.concrete_fields if not field.primary_key]


def bare_copy(rows: bytes) -> None:
    """The same rows into the same table, its indexes, checks and foreign keys with it."""
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("TRUNCATE reminders_forecast")
        with cursor.copy(f"COPY reminders_forecast ({', '.join(COLUMNS)}) FROM STDIN") as out:
            out.write(rows)


def rows_as_text() -> bytes:
    command = f"COPY reminders_forecast ({', '.join(COLUMNS)}) TO STDOUT"
    with connection.cursor() as cursor, cursor.copy(command) as source:
        return b"".join(bytes(block) for block in source)


def measure_forecast_refresh(today: date, now: datetime) -> dict[str, float]:
    """All forecasts, three times in turn with COPY."""
    first = elapsed_seconds(partial(actions.refresh_forecasts, today=today, now=now))
    rows = rows_as_text()
    pair = time_in_turn(
        partial(actions.refresh_forecasts, today=today, now=now), partial(bare_copy, rows), times=3
    )
    storing.analyze_forecast_table()  # as the nightly task does
    decks = list(Forecast.objects.order_by("?").values_list("deck", flat=True)[:SINGLE_REFRESHES])
    each = [
        elapsed_seconds(partial(actions.refresh_forecasts, deck_ids=[deck], today=today, now=now))
        for deck in decks
    ]
    return {
        "decks": float(Forecast.objects.count()),
        "one_deck_ms": 1000 * statistics.median(each),
        "one_deck_p95_ms": 1000 * percentile(each, 0.95),
        "first_s": first,
        "refresh_s": statistics.median(pair.ours),
        "copy_s": statistics.median(pair.other),
        "ratio": pair.ratio,
    }
