"""What a care plan costs on a day, and when its term is over. Pure."""

from datetime import date
from decimal import Decimal

from jobs.offers.pricing import cents
from reminders.months import shift_months

HUNDRED = Decimal(100)


def whole_years(since: date, until: date) -> int:
    """How many anniversaries have come, the day itself counted; that of 29 February is 1 March in
    other years."""
    if until < since:
        return 0
    passed = (until.month, until.day) >= (since.month, since.day)
    return until.year - since.year - (not passed)


def price_on(day: date, *, starts_on: date, price: Decimal, raise_percent: Decimal) -> Decimal:
    """The price raised once at each anniversary, rounded half up to the cent each time."""
    for _ in range(whole_years(starts_on, day)):
        price = cents(price * (1 + raise_percent / HUNDRED))
    return price


def term_end(starts_on: date, months: int) -> date:
    """The day after the last one of the term: as many months on, or the first of the month after
    where that has no such day."""
    month = shift_months(starts_on.replace(day=1), months)
    try:
        return month.replace(day=starts_on.day)
    except ValueError:
        return shift_months(month, 1)
