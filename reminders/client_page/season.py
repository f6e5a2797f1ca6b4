"""When “not this year” is over."""

from collections.abc import Collection
from datetime import date, timedelta

from reminders.months import shift_months

MIN_PAUSE_DAYS = 90  # who says so near the end of a season means the next one (a judgement)
MONTHS_A_YEAR = 12


def season_end(today: date, season_months: Collection[int]) -> date:
    """The last day of the season that runs or comes next, at least 90 days off; of the calendar
    year where crews work in all months."""
    for ahead in range(3 * MONTHS_A_YEAR):
        month = shift_months(today.replace(day=1), ahead)
        after = shift_months(month, 1)
        is_last = month.month in season_months and after.month not in season_months
        if len(set(season_months)) == MONTHS_A_YEAR:
            is_last = month.month == MONTHS_A_YEAR
        end = after - timedelta(days=1)
        if is_last and (end - today).days >= MIN_PAUSE_DAYS:
            return end
    raise ValueError("A season has at least one month.")
