"""Forecasts are stored: the newest coats of 1,250 decks at a time through the numerical core, and
what it says written back, column by column."""

from collections.abc import Iterable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from datetime import date, datetime
from itertools import compress, pairwise

import numpy as np
from django.db import connection, transaction

from clients.models import Deck, Surface
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
from reminders.forecasting.due_surfaces import DueSurfaces
from reminders.forecasting.price_ratio import strip_price_ratio
from reminders.forecasting.surfaces import (
    SurfacePrediction,
    predict_surfaces,
    read_surface_coats,
)

# Bounds memory (below 200 MB), and how long a row stays locked (a quarter of a second).
DECKS_A_TRANSACTION = 1_250
LANES = 2  # chunks at a time: the database reads and writes while the core calculates
COLUMN_NULL = "\\N"  # in the columns that are handed over
MAX_FORECAST_DAYS = (
    60 * 365
)  # a forecast further off than this says "not in our time" and is cut off there
MAX_BUILD = 32_767  # of a smallint
# What is written, with its types.
FORECAST_COLUMNS = {
    "deck_id": "bigint",
    "job_id": "bigint",
    "surface": "text",
    "model_version": "text",
    "computed_at": "timestamptz",
    "computed_on": "date",
    "window_opens_on": "date",
    "half_worn_on": "date",
    "late_on": "date",
    "due_on": "date",
    "boards_due_on": "date",
    "look_on": "date",
    "strip_on": "date",
    "sound_on": "date",
    "chance_worn": "float8",
    "median_months": "float8",
    "log_sd": "float8",
    "reference_months": "float8",
    "prior_share": "float8",
    "coat_build": "smallint",
    "contributions": "jsonb",
    "unknowns": "jsonb",
}
SURFACE_COLUMNS = {
    "deck_id": "bigint",
    "job_id": "bigint",
    "surface": "text",
    "window_opens_on": "date",
    "due_on": "date",
    "late_on": "date",
}
Columns = dict[str, Sequence[object]]


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
    starts = range(0, len(chosen), DECKS_A_TRANSACTION)
    chunks = [chosen[at : at + DECKS_A_TRANSACTION] for at in starts]
    if len(chunks) < LANES or connection.in_atomic_block:
        return sum(store_forecast_chunk(each, today, now) for each in chunks)
    # the first by itself: what the core loads then, climate above all, is not loaded twice at once
    first, *rest = chunks
    written = store_forecast_chunk(first, today, now)
    with ThreadPoolExecutor(LANES) as pool:
        lanes = [
            pool.submit(store_in_lane, rest[place::LANES], today, now) for place in range(LANES)
        ]
    return written + sum(lane.result() for lane in lanes)


def store_in_lane(chunks: Iterable[Sequence[int]], today: date, now: datetime) -> int:
    """One after the other, with a connection of this thread, which ends with it."""
    try:
        return sum(store_forecast_chunk(each, today, now) for each in chunks)
    finally:
        connection.close()


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
    others = list(predict_surfaces(surfaces, today)) if surfaces else []
    predictions = [*([predict_boards(coats, today)] if coats else []), *others]
    days = DeckDays.of(predictions)
    rows = one_below_the_other(
        FORECAST_COLUMNS, [leading_columns(each, days, today, now) for each in predictions]
    )
    replace_rows("reminders_forecast", FORECAST_COLUMNS, rows, key="deck_id", deck_ids=deck_ids)
    written = len(rows["deck_id"])
    rows = one_below_the_other(SURFACE_COLUMNS, [surface_columns(each) for each in others])
    replace_rows(
        "reminders_surfaceforecast",
        SURFACE_COLUMNS,
        rows,
        key="deck_id, surface",
        deck_ids=deck_ids,
    )
    return written


def one_below_the_other(names: Iterable[str], parts: Sequence[Columns]) -> Columns:
    return {name: [value for part in parts for value in part[name]] for name in names}


def replace_rows(
    table: str, types: Mapping[str, str], rows: Columns, *, key: str, deck_ids: Sequence[int]
) -> None:
    """The rows of these decks are these: changed, added or taken away. Of a row that keeps its deck
    and job no foreign key is asked, which takes a third of the time of a new one."""
    names = ", ".join(types)
    listed = ", ".join(
        f"string_to_array(%s, E'\\n', '{COLUMN_NULL}')::{type}[]" for type in types.values()
    )
    changes = ", ".join(f"{name} = excluded.{name}" for name in types)
    statement = f"""
        WITH written AS (
            INSERT INTO {table} ({names}) SELECT * FROM unnest({listed})
            ON CONFLICT ({key}) DO UPDATE SET {changes} RETURNING id
        )
        DELETE FROM {table}
        WHERE deck_id = ANY (%s::bigint[]) AND id NOT IN (SELECT id FROM written)
    """  # noqa: S608 - made of constants
    with connection.cursor() as cursor:
        columns = [column_as_text(rows[name]) for name in types]
        cursor.execute(statement, [*columns, postgres_array(deck_ids)])


def column_as_text(values: Iterable[object]) -> str:
    """A value a line, for the same reason as `postgres_array`."""
    return "\n".join(COLUMN_NULL if value is None else str(value) for value in values)


def surface_columns(prediction: SurfacePrediction) -> Columns:
    coats = prediction.coats
    found = prediction.found
    return {
        "deck_id": coats.deck_id,
        "job_id": coats.job_id,
        "surface": [prediction.surface] * len(coats),
        "window_opens_on": iso_dates(found.window_opens, prediction),
        "due_on": iso_dates(prediction.due, prediction),
        "late_on": iso_dates(found.late, prediction),
    }


def predict_boards(coats: NewestCoats, today: date) -> SurfacePrediction:
    core = core_coats(coats, today=today)
    found = forecast.predict(core, active_posterior(), epoch_days(today))
    due = forecast.best_work_days(
        core,
        found,
        epoch_days(today),
        workable_months_of_coats(coats, core),
        price_ratio=strip_price_ratio(today=today),
    )
    return SurfacePrediction(Surface.BOARDS, coats, found, due)


@dataclass(frozen=True)
class DeckDays:
    """Of each deck, as ISO dates: when its boards are due, and what else is, the soonest first."""

    boards: Mapping[int, str]
    others: Mapping[int, Sequence[tuple[str, str]]]  # deck → due day and surface

    @classmethod
    def of(cls, predictions: Iterable[SurfacePrediction]) -> "DeckDays":
        boards: dict[int, str] = {}
        others: dict[int, list[tuple[str, str]]] = {}
        for each in predictions:
            for deck, day in zip(each.coats.deck_id, iso_dates(each.due, each), strict=True):
                if each.surface == Surface.BOARDS:
                    boards[deck] = day
                else:
                    others.setdefault(deck, []).append((day, each.surface))
        return cls(boards, {deck: sorted(days) for deck, days in others.items()})

    def first(self, deck: int) -> str:
        """When the deck is due."""
        days = [day for day, _ in self.others.get(deck, ())]
        if deck in self.boards:
            days.append(self.boards[deck])
        return min(days)

    def leading(self, deck: int, today: date) -> str:
        """The surface whose coat the next visit is for."""
        if deck not in self.others:
            return Surface.BOARDS
        rows = [{"surface": name, "due_on": day} for day, name in self.others[deck]]
        day = self.boards.get(deck)
        boards = date.fromisoformat(day) if day else None
        return DueSurfaces.of(boards, rows).leading(today)


def leading_columns(
    prediction: SurfacePrediction, days: DeckDays, today: date, now: datetime
) -> Columns:
    """The rows of FORECAST_COLUMNS of the decks whose next visit is for this surface."""
    leads = [days.leading(deck, today) == prediction.surface for deck in prediction.coats.deck_id]
    columns = forecast_columns(prediction, days, today, now)
    return {name: list(compress(values, leads)) for name, values in columns.items()}


def forecast_columns(
    prediction: SurfacePrediction, days: DeckDays, today: date, now: datetime
) -> Columns:
    coats = prediction.coats
    found = prediction.found
    count = len(coats)
    return {
        "deck_id": coats.deck_id,
        "job_id": coats.job_id,
        "surface": [prediction.surface] * count,
        "model_version": [found.version] * count,
        "computed_at": [now.isoformat()] * count,
        "computed_on": [today.isoformat()] * count,
        "window_opens_on": iso_dates(found.window_opens, prediction),
        "half_worn_on": iso_dates(found.due_by, prediction),
        "late_on": iso_dates(found.late, prediction),
        "due_on": [days.first(deck) for deck in coats.deck_id],
        "boards_due_on": [days.boards.get(deck) for deck in coats.deck_id],
        "sound_on": coats.sound_on,
        "chance_worn": np.clip(found.chance_worn_today, 0, 1).tolist(),
        "median_months": found.median_months.tolist(),
        "log_sd": found.log_sd.tolist(),
        "reference_months": [found.reference_months] * count,
        "prior_share": np.clip(found.prior_share, 0, 1).tolist(),
        "unknowns": months_as_json(forecast.UNKNOWNS, at_least_a_tenth(found.unknown_months)),
        **boards_columns(prediction),
    }


def boards_columns(prediction: SurfacePrediction) -> Columns:
    """Reasons, build, and the days from which one looks first and strips: what is known of boards
    alone."""
    coats = prediction.coats
    found = prediction.found
    if prediction.surface != Surface.BOARDS:
        nothing = [None] * len(coats)
        return {
            "contributions": ["{}"] * len(coats),
            "coat_build": [0] * len(coats),
            "look_on": nothing,
            "strip_on": nothing,
        }
    return {
        "contributions": months_as_json(forecast.FACTORS, found.contributions),
        "coat_build": [min(build, MAX_BUILD) for build in coats.build],
        "look_on": iso_dates(found.look_by, prediction),
        "strip_on": iso_dates(found.strip_by, prediction),
    }


def at_least_a_tenth(months: Floats) -> Floats:
    """The months by which knowing something would shorten the window are said, however few."""
    return np.where(months > 0, np.maximum(months, 0.1), 0)


def iso_dates(day: Floats, prediction: SurfacePrediction) -> list[str]:
    """Days of the core as ISO dates, no further than MAX_FORECAST_DAYS from the coat."""
    start = prediction.laid_from
    whole = np.floor(np.clip(np.nan_to_num(day, nan=np.inf), start, start + MAX_FORECAST_DAYS))
    days: list[str] = np.datetime_as_string(whole.astype("datetime64[D]")).tolist()
    return days


def months_as_json(names: Sequence[str], months: Floats) -> list[str]:
    """A JSON object a row: the months of each name to a tenth; names without any are left out."""
    tenths = np.rint(months * 10).astype(int)
    row, name = np.nonzero(tenths)
    base = np.abs(tenths).max(initial=0) * 2 + 1
    keys, place = np.unique(name * base + tenths[row, name] + base // 2, return_inverse=True)
    words = [f'"{names[key // base]}": {(key % base - base // 2) / 10}' for key in keys.tolist()]
    parts = np.array(words, dtype=object)[place].tolist()
    edges = np.searchsorted(row, np.arange(len(tenths) + 1)).tolist()
    return ["{" + ", ".join(parts[start:end]) + "}" for start, end in pairwise(edges)]
