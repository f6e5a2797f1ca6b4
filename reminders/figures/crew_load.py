"""Hours sold against the hours of the crews: a year that is over and a year to come."""

from collections.abc import Mapping, Sequence
from datetime import date
from decimal import Decimal
from typing import Any

from clients import display
from clients.models import Business
from jobs.diary import crew_hours_by_month
from jobs.models import Booking, BookingDay, Job, Offer, WorkedHours
from reminders.figures.monthly_figure import (
    MONTHS_A_YEAR,
    FigureColumn,
    MonthlyFigure,
    count_words,
    months_around,
    year_words,
)
from reminders.months import shift_months
from reminders.pictures import MonthColumn, month_columns

HOUR_COLUMNS = {"done": "Done", "booked": "Booked", "without_day": "Accepted, no day yet"}


def read_crew_load(*, today: date, business: Business) -> MonthlyFigure:
    months = months_around(today)
    first, until = months[0], shift_months(months[-1], 1)
    unbooked = Job.objects.done_between(first, today).without_booking().count()
    rows = crew_load_rows(
        months,
        crew_hours_by_month(first=first, until=until, business=business),
        BookingDay.objects.hours_by_month(first, until),
        Offer.objects.hours_without_day(),
    )
    worked = WorkedHours.objects.worked_by_month(first, until)
    rows = [{**row, "worked": worked.get(row["month"], Decimal(0))} for row in rows]
    return MonthlyFigure(
        "hours",
        "Hours sold against crew hours",
        [
            *(FigureColumn(key, head, "hours") for key, head in HOUR_COLUMNS.items()),
            FigureColumn("sold", "Sold", "hours"),
            FigureColumn("crew_hours", "Crew hours", "hours"),
            FigureColumn("worked", "Worked", "hours"),
        ],
        rows,
        [
            month_columns(
                [
                    MonthColumn(
                        row["month"],
                        {head.lower(): float(row[key]) for key, head in HOUR_COLUMNS.items()},
                        ceiling=float(row["crew_hours"]),
                    )
                    for row in rows
                ],
                counted_in="hours",
                ceiling_name="crew hours",
            ),
        ],
        [load_fact(rows[:MONTHS_A_YEAR]), load_fact(rows[MONTHS_A_YEAR:])],
        [
            *(
                [f"{count_words(unbooked, 'job')} of the past year had no booking, so no hours."]
                if unbooked
                else []
            ),
            "Sold is what stands in the diary, held visits included, and accepted offers that have"
            " no day yet, in the week the client chose. Crew hours are those the diary kept for the"
            " day, else as the crews are set now, without days off and public holidays. Worked is"
            " what people wrote with the jobs of the month.",
        ],
    )


def crew_load_rows(
    months: Sequence[date],
    crew_hours: Mapping[date, Decimal],
    taken: Sequence[tuple[date, str, Decimal]],
    waiting: Sequence[tuple[date, Decimal]],
) -> list[dict[str, Any]]:
    """`taken` are month, state of the booking and hours; `waiting` week and hours."""
    zero = dict.fromkeys([*HOUR_COLUMNS, "sold"], Decimal(0))
    rows: dict[date, dict[str, Any]] = {
        month: {"month": month, **zero, "crew_hours": crew_hours.get(month, Decimal(0))}
        for month in months
    }
    sold = [
        (month, "done" if state == Booking.State.DONE else "booked", hours)
        for month, state, hours in taken
    ]
    sold += [(week.replace(day=1), "without_day", hours) for week, hours in waiting]
    for month, column, hours in sold:
        if month in rows:
            rows[month][column] += hours
            rows[month]["sold"] += hours
    return list(rows.values())


def load_fact(rows: Sequence[dict[str, Any]]) -> tuple[str, str]:
    sold = sum((row["sold"] for row in rows), Decimal(0))
    open_hours = sum((row["crew_hours"] for row in rows), Decimal(0))
    words = f"{display.format_number(sold, 0)} of {display.format_number(open_hours, 0)} h"
    if open_hours:
        words += f", {round(100 * sold / open_hours)} %"
    return year_words([row["month"] for row in rows]), words
