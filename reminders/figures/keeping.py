"""Figures of a large book, kept for a while after they were counted: each looks at much of the
book, longer than somebody waits for a page. What is kept says so in its notes."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import date

from django.core.cache import cache

from clients.models import Business
from reminders.figures.monthly_figure import MonthlyFigure
from reminders.models import Forecast

LARGE_BOOK_DECKS = 5_000
SECONDS_AN_HOUR = 60 * 60

FigureReader = Callable[..., MonthlyFigure]


@dataclass(frozen=True)
class KeptFor:
    """How long a figure is kept, and the note that says so."""

    seconds: int
    note: str


AN_HOUR = KeptFor(SECONDS_AN_HOUR, "Counted once an hour. What was done since shows then.")
A_DAY = KeptFor(
    24 * SECONDS_AN_HOUR,
    "Counted once a day, in the night. What was booked since shows tomorrow.",
)
KEPT_LONGER = {"work_to_come": A_DAY}  # in files too


def is_large_book() -> bool:
    return Forecast.objects.count() > LARGE_BOOK_DECKS


def kept_figure_key(key: str, today: date, business: Business) -> str:
    return f"figure/{key}/{business.currency}/{today}"


def read_kept(
    readers: Mapping[str, FigureReader], *, today: date, business: Business
) -> list[MonthlyFigure]:
    """As they were counted last, those that are too old counted now; of a book that is not large,
    all of them now."""
    if not is_large_book():
        return [read(today=today, business=business) for read in readers.values()]
    found = cache.get_many([kept_figure_key(key, today, business) for key in readers])
    return [
        found.get(kept_figure_key(key, today, business))
        or count_and_keep(key, read, today=today, business=business)
        for key, read in readers.items()
    ]


def count_and_keep(
    key: str, read: FigureReader, *, today: date, business: Business
) -> MonthlyFigure:
    counted = read(today=today, business=business)
    how_long = KEPT_LONGER.get(key, AN_HOUR)
    kept = replace(counted, notes=[*counted.notes, how_long.note])
    cache.set(kept_figure_key(key, today, business), kept, how_long.seconds)
    return kept
