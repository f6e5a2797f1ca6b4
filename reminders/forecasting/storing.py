"""Forecasts are stored: the newest coats of 2,000 decks at a time through the numerical core, and
what it says written back by COPY."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date, datetime
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from django.db import connection, transaction

from clients.models import Deck
from reminders import forecast
from reminders.forecast import Floats
from reminders.forecasting.bridge import (
    NewestCoats,
    active_posterior,
    core_coats,
    epoch_days,
    lock_decks,
    postgres_array,
    read_newest_coats,
    workable_months_of_coats,
)
from reminders.forecasting.price_ratio import strip_price_ratio
from reminders.forecasting.surfaces import SurfaceCoats, read_surface_coats, surface_days

DECKS_A_TRANSACTION = 2_000  # bounds memory, and how long a row stays locked
COPY_NULL = "\\N"  # in the text format of COPY
MAX_FORECAST_DAYS = (
    60 * 365
)  # a forecast further off than this says "not in our time" and is cut off there
COPIED_COLUMNS = (
    "deck_id, job_id, model_version, computed_at, computed_on, window_opens_on, half_worn_on,"
    " late_on, chance_worn, median_months, log_sd, reference_months, contributions, prior_share,"
    " coat_build, sound_on, unknowns, look_on, strip_on, due_on, boards_due_on"
)
SURFACE_COLUMNS = "deck_id, job_id, surface, window_opens_on, due_on, late_on"


def store_forecasts(*, deck_ids: Iterable[int] | None, today: date, now: datetime) -> int:
    """Bring the forecasts of some decks, or of all, up to date;
    returns how many decks have one now.

    `today` is the date at the business: a deck on the other side of the date line may be a day off,
    which no forecast can tell. Each chunk is one transaction (or part of the caller's).
    """
    chosen = (
        sorted(deck_ids)
        if deck_ids is not None
        else list(Deck.objects.order_by("pk").values_list("pk", flat=True))
    )
    return sum(
        store_forecast_chunk(chosen[at : at + DECKS_A_TRANSACTION], today, now)
        for at in range(0, len(chosen), DECKS_A_TRANSACTION)
    )


def analyze_forecast_table() -> None:
    """Tell the planner that the table was written again; until it knows, the due list takes twice
    as long, and until it is vacuumed Today three times, as its index then asks each row whether it
    is there. Inside a transaction, where PostgreSQL does not vacuum, only the first."""
    tidy = "ANALYZE" if connection.in_atomic_block else "VACUUM (ANALYZE)"
    with connection.cursor() as cursor:
        cursor.execute(f"{tidy} reminders_forecast, reminders_surfaceforecast")


@transaction.atomic
def store_forecast_chunk(deck_ids: Sequence[int], today: date, now: datetime) -> int:
    lock_decks(deck_ids)
    coats = read_newest_coats(deck_ids, today=today)
    boards = dict(zip(coats.deck_id, coats.job_id, strict=True)) if coats else {}
    surfaces = read_surface_coats(deck_ids, boards, today=today)
    others = surface_rows(surfaces, today) if surfaces else []
    # Calculated before COPY starts: it asks for the fit in use, and a connection that copies can
    # answer nothing else.
    written = forecast_rows(coats, first_due_days(others), (today, now)) if coats else ""
    replace_rows("reminders_forecast", COPIED_COLUMNS, deck_ids, written)
    lines = "".join("\t".join(map(str, row)) + "\n" for row in others)
    replace_rows("reminders_surfaceforecast", SURFACE_COLUMNS, deck_ids, lines)
    return len(coats) if coats else 0


def replace_rows(table: str, columns: str, deck_ids: Sequence[int], written: str) -> None:
    """The rows of these decks anew, in the text format of COPY."""
    with connection.cursor() as cursor:
        cursor.execute(
            f"DELETE FROM {table} WHERE deck_id = ANY (%s::bigint[])",  # noqa: S608 - a constant
            [postgres_array(deck_ids)],
        )
        if written:
            with cursor.copy(f"COPY {table} ({columns}) FROM STDIN") as copy:
                copy.write(written)


class SurfaceRow(NamedTuple):
    """A row of SURFACE_COLUMNS; days as ISO dates."""

    deck_id: int
    job_id: int
    surface: str
    window_opens_on: str
    due_on: str
    late_on: str


def surface_rows(coats: SurfaceCoats, today: date) -> list[SurfaceRow]:
    days = [iso_dates(each, coats) for each in surface_days(coats, today).T]
    columns = zip(coats.deck_id, coats.job_id, coats.surface, *days, strict=True)
    return [SurfaceRow(*row) for row in columns]


def first_due_days(rows: Iterable[SurfaceRow]) -> dict[int, str]:
    """Deck → the day on which the first surface beside its boards is due."""
    found: dict[int, str] = {}
    for row in rows:
        found[row.deck_id] = min(row.due_on, found.get(row.deck_id, row.due_on))
    return found


def forecast_rows(
    coats: NewestCoats, first_due: Mapping[int, str], as_of: tuple[date, datetime]
) -> str:
    today, _ = as_of
    core = core_coats(coats, today=today)
    found = forecast.predict(core, active_posterior(), epoch_days(today))
    work_days = forecast.best_work_days(
        core,
        found,
        epoch_days(today),
        workable_months_of_coats(coats, core),
        price_ratio=strip_price_ratio(today=today),
    )
    boards = iso_dates(work_days, coats)
    due = [
        min(day, first_due.get(deck, day)) for deck, day in zip(coats.deck_id, boards, strict=True)
    ]
    return "".join(copy_lines(coats, found, list(zip(due, boards, strict=True)), as_of))


def copy_lines(
    coats: NewestCoats,
    found: forecast.Prediction,
    due_days: Sequence[tuple[str, str]],
    as_of: tuple[date, datetime],
) -> Iterator[str]:
    """The rows of COPIED_COLUMNS in the text format of COPY; `due_days` are that of the deck and
    that of its boards."""
    today, now = as_of
    fixed = f"{found.version}\t{now.isoformat()}\t{today.isoformat()}"
    opens, half, late, looks, strips = (
        iso_dates(each, coats)
        for each in (
            found.window_opens,
            found.due_by,
            found.late,
            found.look_by,
            found.strip_by,
        )
    )
    chances = np.clip(found.chance_worn_today, 0, 1).tolist()
    shares = np.clip(found.prior_share, 0, 1).tolist()
    numbers = zip(chances, found.median_months.tolist(), found.log_sd.tolist(), strict=True)
    rows = zip(
        coats.deck_id,
        coats.job_id,
        opens,
        half,
        late,
        numbers,
        contributions_as_json(found),
        shares,
        strict=True,
    )
    reference = found.reference_months
    unknowns = unknowns_as_json(found)
    ends = zip(looks, strips, due_days, strict=True)
    completed = zip(rows, coats.build, coats.sound_on, unknowns, ends, strict=True)
    for row, build, sound, unknown, (look, strip, (due, of_boards)) in completed:
        deck, job, first, middle, last, (chance, median, spread), why, share = row
        yield (
            f"{deck}\t{job}\t{fixed}\t{first}\t{middle}\t{last}\t{chance}\t{median}\t{spread}"
            f"\t{reference}\t{why}\t{share}\t{min(build, 32767)}\t{sound or COPY_NULL}\t{unknown}"
            f"\t{look}\t{strip}\t{due}\t{of_boards}\n"
        )


def unknowns_as_json(found: forecast.Prediction) -> Iterator[str]:
    """What is not known of each coat, with the months by which knowing it would shorten the window,
    as JSON."""
    months = np.where(found.unknown_months > 0, np.maximum(found.unknown_months, 0.1), 0).round(1)
    for row in months.tolist():
        named = zip(forecast.UNKNOWNS, row, strict=True)
        yield "{" + ", ".join(f'"{name}": {value}' for name, value in named if value) + "}"


def iso_dates(day: Floats, coats: NewestCoats) -> list[str]:
    """Days of the core as ISO dates, no further than MAX_FORECAST_DAYS from the coat."""
    starts = zip(coats.finished_from, coats.finished_on, strict=True)
    start = np.array([epoch_days(first or last) for first, last in starts])
    whole = np.floor(np.clip(np.nan_to_num(day, nan=np.inf), start, start + MAX_FORECAST_DAYS))
    days: list[str] = np.datetime_as_string(whole.astype("datetime64[D]")).tolist()
    return days


def contributions_as_json(found: forecast.Prediction) -> Iterator[str]:
    """The months that each factor adds or takes away, to a tenth, as JSON;
    factors without effect are left out."""
    tenths = np.rint(found.contributions * 10).astype(int)
    row, factor = np.nonzero(tenths)
    base = np.abs(tenths).max(initial=0) * 2 + 1
    keys, place = np.unique(factor * base + tenths[row, factor] + base // 2, return_inverse=True)
    words = [
        f'"{forecast.FACTORS[key // base]}": {(key % base - base // 2) / 10}'
        for key in keys.tolist()
    ]
    parts = np.array(words, dtype=object)[place].tolist()
    edges = np.searchsorted(row, np.arange(len(tenths) + 1)).tolist()
    return ("{" + ", ".join(parts[start:end]) + "}" for start, end in pairwise(edges))
