"""Months of the calendar, each written as its first day and typed as 2027-03."""

import re
from collections.abc import Collection
from datetime import date, timedelta

# the years that a due list can show
MIN_YEAR = 1950
MAX_YEAR = 2199


class MonthError(ValueError):
    """The text is not a month that a due list can show; the message says what to write."""


def parse_month(text: str) -> date:
    """The first day of the month in `text`, such as 2027-03."""
    found = re.fullmatch(r"([0-9]{4})-([0-9]{1,2})", text.strip())
    year, month = map(int, found.groups()) if found else (0, 0)
    if not (MIN_YEAR <= year <= MAX_YEAR and 1 <= month <= 12):
        raise MonthError(
            f"“{text[:40]}” is not a month. Write the year and the month, such as 2027-03."
        )
    return date(year, month, 1)


def month_of(day: date) -> date:
    return day.replace(day=1)


def shift_months(month: date, count: int) -> date:
    """The month `count` months later (earlier if negative)."""
    years, index = divmod(month.month - 1 + count, 12)
    return date(month.year + years, index + 1, 1)


def month_key(month: date) -> str:
    """As it stands in addresses and on the command line."""
    return f"{month:%Y-%m}"


def last_day_of_season(day: date, season_months: Collection[int]) -> date:
    """Of the season that runs, or of the next one; a year ahead where all months are season."""
    months = [shift_months(month_of(day), later) for later in range(25)]
    first = next(each for each in months if each.month in season_months)
    after = next(
        (each for each in months if each > first and each.month not in season_months), months[12]
    )
    return after - timedelta(days=1)
