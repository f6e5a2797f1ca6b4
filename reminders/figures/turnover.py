"""Jobs and what was charged for them, by the month in which they were finished."""

from collections.abc import Sequence
from datetime import date
from decimal import Decimal
from typing import Any

from clients import display
from clients.models import Business
from jobs.models import Job
from reminders.figures.monthly_figure import (
    MONTHS_A_YEAR,
    FigureColumn,
    MonthlyFigure,
    count_words,
    months_back,
    year_words,
)
from reminders.months import shift_months
from reminders.pictures import MonthColumn, month_columns

KIND_HEADS = {"recoat": "Recoats", "strip": "Strips", "other": "Other work"}


def read_turnover(*, today: date, business: Business) -> MonthlyFigure:
    currency = business.currency
    months = months_back(today)
    jobs = Job.objects.done_between(months[0], shift_months(months[-1], 1))
    rows = turnover_rows(months, jobs.totals_by_month(currency))
    unpriced = sum(row["without_price"] for row in rows)
    notes = ["Prices as entered with each job."]
    if unpriced:
        said = count_words(unpriced, "job has no price and adds", "jobs have no price and add")
        notes.append(f"{said} nothing.")
    if undated := jobs.not_known_to_a_month().count():
        said = count_words(undated, "job is", "jobs are")
        notes.append(f"{said} left out: only the season or the year is known.")
    if foreign := jobs.in_other_currency(currency).count():
        said = count_words(foreign, "price is", "prices are")
        notes.append(f"{said} in another currency and not added.")
    return MonthlyFigure(
        "turnover",
        "Jobs and turnover",
        [
            FigureColumn("jobs", "Jobs"),
            *(FigureColumn(kind, head, "money") for kind, head in KIND_HEADS.items()),
            FigureColumn("turnover", "Turnover", "money"),
            FigureColumn("without_price", "Without a price"),
        ],
        rows,
        [
            month_columns(
                [
                    MonthColumn(
                        row["month"], {head: float(row[kind]) for kind, head in KIND_HEADS.items()}
                    )
                    for row in rows
                ],
                counted_in="money",
            ),
        ],
        [year_fact(rows[MONTHS_A_YEAR:]), year_fact(rows[:MONTHS_A_YEAR])],
        notes,
    )


def turnover_rows(
    months: Sequence[date], totals: Sequence[tuple[date, str, int, int, Decimal | None]]
) -> list[dict[str, Any]]:
    """`totals` are month, kind of job, jobs, jobs without a price, and what was charged."""
    zero = {"jobs": 0, "without_price": 0, **dict.fromkeys([*KIND_HEADS, "turnover"], Decimal(0))}
    rows: dict[date, dict[str, Any]] = {month: {"month": month, **zero} for month in months}
    for month, kind, jobs, unpriced, charged in totals:
        row = rows[month]
        row["jobs"] += jobs
        row["without_price"] += unpriced
        row[kind if kind in KIND_HEADS else "other"] += charged or 0
        row["turnover"] += charged or 0
    return list(rows.values())


def year_fact(rows: Sequence[dict[str, Any]]) -> tuple[str, str]:
    jobs = count_words(sum(row["jobs"] for row in rows), "job")
    charged = display.format_whole_money(sum((row["turnover"] for row in rows), Decimal(0)))
    return year_words([row["month"] for row in rows]), f"{charged}, {jobs}"
