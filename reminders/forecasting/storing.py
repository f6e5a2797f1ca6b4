"""Forecasts are stored: the newest coats of 5,000 decks at a time through the numerical core, and
what it says written back by COPY."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from itertools import pairwise
from typing import NamedTuple

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

# Bounds memory (below 200 MB), and how long a row stays locked (half a second). With 2,000 all
# properties of a large book are read more than twice as often, which takes a fifth longer.
DECKS_A_TRANSACTION = 5_000
COPY_NULL = "\\N"  # in the text format of COPY
MAX_FORECAST_DAYS = (
    60 * 365
)  # a forecast further off than this says "not in our time" and is cut off there
COPIED_COLUMNS = (
    "deck_id, job_id, model_version, computed_at, computed_on, window_opens_on, half_worn_on,"
    " late_on, chance_worn, median_months, log_sd, reference_months, contributions, prior_share,"
    " coat_build, sound_on, unknowns, look_on, strip_on, due_on, boards_due_on,"
    " surface"
)
MAX_BUILD = 32_767  # of a smallint
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
    others = list(predict_surfaces(surfaces, today)) if surfaces else []
    # Calculated before COPY starts: it asks for the fit in use, and a connection that copies can
    # answer nothing else.
    predictions = [*([predict_boards(coats, today)] if coats else []), *others]
    days = DeckDays.of(predictions)
    written = [
        line for each in predictions for line in leading_lines(each, days, as_of=(today, now))
    ]
    replace_rows("reminders_forecast", COPIED_COLUMNS, deck_ids, "".join(written))
    lines = ["\t".join(map(str, row)) + "\n" for each in others for row in surface_rows(each)]
    replace_rows("reminders_surfaceforecast", SURFACE_COLUMNS, deck_ids, "".join(lines))
    return len(written)


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


def surface_rows(prediction: SurfacePrediction) -> list[SurfaceRow]:
    coats = prediction.coats
    found = prediction.found
    days = [iso_dates(each, coats) for each in (found.window_opens, prediction.due, found.late)]
    columns = zip(coats.deck_id, coats.job_id, *days, strict=True)
    return [
        SurfaceRow(deck, job, prediction.surface, opens, due, late)
        for deck, job, opens, due, late in columns
    ]


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
            for deck, day in zip(each.coats.deck_id, iso_dates(each.due, each.coats), strict=True):
                if each.surface == Surface.BOARDS:
                    boards[deck] = day
                else:
                    others.setdefault(deck, []).append((day, each.surface))
        return cls(boards, {deck: sorted(days) for deck, days in others.items()})

    def first(self, deck: int) -> str:
        """When the deck is due."""
        days = [self.boards.get(deck), *(day for day, _ in self.others.get(deck, ()))]
        return min(filter(None, days))

    def leading(self, deck: int, today: date) -> str:
        """The surface whose coat the next visit is for."""
        rows = [{"surface": name, "due_on": day} for day, name in self.others.get(deck, ())]
        if not rows:
            return Surface.BOARDS
        day = self.boards.get(deck)
        boards = date.fromisoformat(day) if day else None
        return DueSurfaces.of(boards, rows).leading(today)


def leading_lines(
    prediction: SurfacePrediction, days: DeckDays, *, as_of: tuple[date, datetime]
) -> Iterator[str]:
    """The rows of the decks whose next visit is for this surface."""
    coats = prediction.coats
    lines = copy_lines(prediction, days, as_of)
    for deck, line in zip(coats.deck_id, lines, strict=True):
        if days.leading(deck, as_of[0]) == prediction.surface:
            yield line


def copy_lines(
    prediction: SurfacePrediction, days: DeckDays, as_of: tuple[date, datetime]
) -> Iterator[str]:
    """The rows of COPIED_COLUMNS in the text format of COPY."""
    today, now = as_of
    coats = prediction.coats
    found = prediction.found
    fixed = f"{found.version}\t{now.isoformat()}\t{today.isoformat()}"
    opens, half, late = (
        iso_dates(each, coats) for each in (found.window_opens, found.due_by, found.late)
    )
    chances = np.clip(found.chance_worn_today, 0, 1).tolist()
    shares = np.clip(found.prior_share, 0, 1).tolist()
    numbers = zip(chances, found.median_months.tolist(), found.log_sd.tolist(), strict=True)
    of_boards = boards_columns(prediction)
    rows = zip(coats.deck_id, coats.job_id, opens, half, late, numbers, shares, strict=True)
    reference = found.reference_months
    completed = zip(rows, coats.sound_on, unknowns_as_json(found), of_boards, strict=True)
    for row, sound, unknown, (why, build, look, strip) in completed:
        deck, job, first, middle, last, (chance, median, spread), share = row
        yield (
            f"{deck}\t{job}\t{fixed}\t{first}\t{middle}\t{last}\t{chance}\t{median}\t{spread}"
            f"\t{reference}\t{why}\t{share}\t{build}\t{sound or COPY_NULL}\t{unknown}"
            f"\t{look}\t{strip}\t{days.first(deck)}\t{days.boards.get(deck, COPY_NULL)}"
            f"\t{prediction.surface}\n"
        )


def boards_columns(prediction: SurfacePrediction) -> Iterable[tuple[str, int, str, str]]:
    """Reasons, build, and the days from which one looks first and strips: what is known of boards
    alone."""
    coats = prediction.coats
    found = prediction.found
    if prediction.surface != Surface.BOARDS:
        return [("{}", 0, COPY_NULL, COPY_NULL)] * len(coats)
    days = (iso_dates(each, coats) for each in (found.look_by, found.strip_by))
    builds = (min(build, MAX_BUILD) for build in coats.build)
    return zip(contributions_as_json(found), builds, *days, strict=True)


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
