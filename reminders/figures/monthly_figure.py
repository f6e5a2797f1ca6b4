"""What every figure is: a question, a row a month, a picture of the same, and how the rows are
written."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal
from typing import Any, NamedTuple

from clients import display
from reminders.months import month_key, shift_months
from reminders.pictures import CountedIn, MonthColumns

MONTHS_LOOKED_AT = 24
MONTHS_A_YEAR = 12


class FigureColumn(NamedTuple):
    """A column of the table and of the file: its key in rows and file, its head, what it counts."""

    key: str
    head: str
    counted_in: CountedIn = "number"


@dataclass(frozen=True)
class MonthlyFigure:
    """One figure; each row holds `month` (or words in its place) and a value for every column."""

    key: str
    title: str
    columns: Sequence[FigureColumn]
    rows: Sequence[Mapping[str, Any]]
    pictures: Sequence[MonthColumns]
    facts: Sequence[tuple[str, str]] = ()  # what it comes to, in words and values
    notes: Sequence[str] = field(default_factory=list)  # what is left out, and why

    @property
    def is_empty(self) -> bool:
        return not any(row[each.key] for row in self.rows for each in self.columns)

    @property
    def lines(self) -> list[tuple[str, list[tuple[str, str]]]]:
        """Name of the month, and head and words of each cell."""
        return [
            (
                row_name(row["month"]),
                [(each.head, write_value(row[each.key], each.counted_in)) for each in self.columns],
            )
            for row in self.rows
        ]

    @property
    def file_columns(self) -> list[str]:
        return ["month", *(each.key for each in self.columns)]

    @property
    def file_rows(self) -> list[dict[str, Any]]:
        """With the month as 2027-03 and money to the cent."""
        return [
            {**row, "month": month if isinstance(month, str) else month_key(month)}
            for row in self.rows
            for month in [row["month"]]
        ]


def row_name(month: date | str) -> str:
    """“March 2027”, or words in the place of a month."""
    return month.capitalize() if isinstance(month, str) else display.format_month(month)


def write_value(value: Decimal | float | None, counted_in: CountedIn) -> str:
    """As it stands in a table; nothing is a dash, so that no cell is empty."""
    if not value:
        return "–"
    if counted_in == "money":
        return display.format_whole_money(Decimal(value))
    if counted_in == "hours":
        return f"{display.format_number(value, 0)}\u00a0h"
    return display.format_number(value, 1)


def months_back(today: date) -> list[date]:
    """Two years that end with the present month."""
    return two_years_from(shift_months(today.replace(day=1), 1 - MONTHS_LOOKED_AT))


def months_around(today: date) -> list[date]:
    """A year that ends before the present month, and one that begins with it."""
    return two_years_from(shift_months(today.replace(day=1), -MONTHS_A_YEAR))


def two_years_from(month: date) -> list[date]:
    return [shift_months(month, later) for later in range(MONTHS_LOOKED_AT)]


def start_of_months(months: Sequence[date]) -> datetime:
    """A moment before the first of them has begun anywhere, for questions about moments."""
    return datetime.combine(months[0] - timedelta(days=1), time(), UTC)


def year_words(months: Sequence[date]) -> str:
    """“Year to Nov 2026”."""
    return f"Year to {months[-1]:%b %Y}"


def count_words(count: int, one: str, many: str = "") -> str:
    """“1 job”, “2 jobs”."""
    return f"{display.format_number(count, 0)} {one if count == 1 else many or f'{one}s'}"
