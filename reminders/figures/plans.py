"""Care plans by month: how many began and ended, how many run, and their visits with the price
agreed."""

from collections.abc import Iterable, Sequence
from datetime import date
from decimal import Decimal
from typing import Any

from clients import display
from clients.models import Business
from reminders.figures.monthly_figure import (
    MONTHS_A_YEAR,
    FigureColumn,
    MonthlyFigure,
    count_words,
    months_around,
    year_words,
)
from reminders.models import CarePlan, PlanVisit
from reminders.months import shift_months
from reminders.pictures import MonthColumn, month_columns


def read_plans(*, today: date, business: Business) -> MonthlyFigure:
    months = months_around(today)
    rows = plan_rows(
        months,
        list(CarePlan.objects.order_by().values_list("starts_on", "ended_on")),
        PlanVisit.objects.worth_by_month(business.currency),
        today=today,
    )
    return MonthlyFigure(
        "plans",
        "Care plans",
        [
            FigureColumn("began", "Began"),
            FigureColumn("ended", "Ended"),
            FigureColumn("running", "Running"),
            FigureColumn("visits", "Visits"),
            FigureColumn("agreed", "Agreed price", "money"),
        ],
        rows,
        [
            month_columns(
                [MonthColumn(row["month"], {"agreed price": float(row["agreed"])}) for row in rows],
                counted_in="money",
            )
        ],
        [
            ("Running", display.format_number(rows[MONTHS_A_YEAR]["running"], 0)),
            plan_fact(rows[:MONTHS_A_YEAR]),
            plan_fact(rows[MONTHS_A_YEAR:]),
        ],
        [
            "Visits that the client did not refuse, in the month of their day. Their hours and"
            " prices are in the figures above too; reminders and the pacing plan leave these decks"
            " out."
        ],
    )


def plan_rows(
    months: Sequence[date],
    plans: Sequence[tuple[date, date | None]],
    visits: Iterable[tuple[date, int, Decimal]],
    *,
    today: date,
) -> list[dict[str, Any]]:
    """`plans` are first and last day; `visits` month, how many, and what was agreed for them. How
    many run is said of months that have begun."""
    rows: dict[date, dict[str, Any]] = {}
    for month in months:
        after = shift_months(month, 1)
        rows[month] = {
            "month": month,
            "began": sum(month <= begun < after for begun, _ in plans),
            "ended": sum(month <= end < after for _, end in plans if end),
            "running": sum(begun < after and not (end and end < after) for begun, end in plans)
            if month <= today
            else 0,
            "visits": 0,
            "agreed": Decimal(0),
        }
    for month, count, agreed in visits:
        if month in rows:
            rows[month] |= {"visits": count, "agreed": agreed}
    return list(rows.values())


def plan_fact(rows: Sequence[dict[str, Any]]) -> tuple[str, str]:
    visits = count_words(sum(row["visits"] for row in rows), "visit")
    agreed = display.format_whole_money(sum((row["agreed"] for row in rows), Decimal(0)))
    return year_words([row["month"] for row in rows]), f"{visits}, {agreed}"
