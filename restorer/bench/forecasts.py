"""Refreshing every forecast against a bare COPY of the same rows."""

from datetime import date, datetime

from django.db import connection

from reminders import actions
from reminders.models import Forecast
from restorer.bench.timing import seconds

COLUMNS = [str(field.column) for field in Forecast._meta.concrete_fields if not field.primary_key]


def bare_copy(rows: bytes) -> None:
    """The same rows into a twin with the same indexes and constraints."""
    with connection.cursor() as cursor:
        cursor.execute("TRUNCATE forecast_twin")
        with cursor.copy(f"COPY forecast_twin ({', '.join(COLUMNS)}) FROM STDIN") as out:
            out.write(rows)


def rows_as_text() -> bytes:
    command = f"COPY reminders_forecast ({', '.join(COLUMNS)}) TO STDOUT"
    with connection.cursor() as cursor, cursor.copy(command) as source:
        return b"".join(bytes(block) for block in source)


def measure(today: date, now: datetime) -> dict[str, float]:
    first = seconds(lambda: actions.refresh_forecasts(deck_ids=None, today=today, now=now))
    again = seconds(lambda: actions.refresh_forecasts(deck_ids=None, today=today, now=now))
    with connection.cursor() as cursor:
        cursor.execute("CREATE TABLE forecast_twin (LIKE reminders_forecast INCLUDING ALL)")
    rows = rows_as_text()
    copying = seconds(lambda: bare_copy(rows))
    return {
        "decks": Forecast.objects.count(),
        "first_s": first,
        "again_s": again,
        "copy_s": copying,
        "ratio": first / copying,
    }
