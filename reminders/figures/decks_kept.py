"""Decks that are kept up against decks that are lost, by month."""

from collections.abc import Iterable, Sequence
from datetime import date
from typing import Any

from clients.models import Business
from jobs.models import Job
from reminders.figures.monthly_figure import (
    MONTHS_A_YEAR,
    FigureColumn,
    MonthlyFigure,
    count_words,
    months_back,
    start_of_months,
    year_words,
)
from reminders.models import Forecast
from reminders.months import shift_months
from reminders.pictures import MonthColumn, month_columns


def read_decks_kept(*, today: date, business: Business) -> MonthlyFigure:
    months = months_back(today)
    until = shift_months(months[-1], 1)
    archived = Job.objects.moments_archived(since=start_of_months(months))
    rows = kept_rows(
        months,
        Job.objects.done_between(months[0], until).coats_by_month(),
        Forecast.objects.current().unbooked().late_by_month(months[0], today),
        [business.today(moment).replace(day=1) for moment in archived],
    )
    counts = Forecast.objects.current().count_late(today)
    return MonthlyFigure(
        "decks",
        "Decks kept up and lost",
        [
            FigureColumn("new", "New"),
            FigureColumn("kept", "Kept up"),
            FigureColumn("late", "Lost: became late"),
            FigureColumn("archived", "Lost: archived"),
        ],
        rows,
        [
            month_columns(
                [
                    MonthColumn(
                        row["month"],
                        {"kept up": row["kept"], "new": row["new"], "lost": lost_decks(row)},
                    )
                    for row in rows
                ]
            ),
        ],
        [
            kept_fact(rows[MONTHS_A_YEAR:]),
            kept_fact(rows[:MONTHS_A_YEAR]),
            (
                "Today",
                f"{count_words(counts['decks'] - counts['late'], 'deck')} in good time,"
                f" {counts['late']} late",
            ),
        ],
        [
            "New: the first coat that the book knows of a deck. Kept up: a deck was coated again."
            " Lost: late by the forecast with nothing done or booked, or archived. A deck that"
            " comes back is no longer counted as lost."
        ],
    )


def lost_decks(row: dict[str, Any]) -> int:
    late: int = row["late"]
    archived: int = row["archived"]
    return late + archived


def kept_rows(
    months: Sequence[date],
    coats: Iterable[tuple[date, bool, int]],
    late: Iterable[tuple[date, int]],
    archived: Iterable[date],
) -> list[dict[str, Any]]:
    """`coats` are month, whether the deck had one before, and decks; `archived` a month a deck."""
    rows: dict[date, dict[str, Any]] = {
        month: {"month": month, "new": 0, "kept": 0, "late": 0, "archived": 0} for month in months
    }
    counted = [(month, "kept" if had_coat else "new", decks) for month, had_coat, decks in coats]
    counted += [(month, "late", decks) for month, decks in late]
    counted += [(month, "archived", 1) for month in archived]
    for month, column, decks in counted:
        if month in rows:
            rows[month][column] += decks
    return list(rows.values())


def kept_fact(rows: Sequence[dict[str, Any]]) -> tuple[str, str]:
    new, kept = (sum(row[key] for row in rows) for key in ("new", "kept"))
    lost = sum(map(lost_decks, rows))
    return (
        year_words([row["month"] for row in rows]),
        f"{kept} kept up, {new} new, {lost} lost",
    )
