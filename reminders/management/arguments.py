"""What the commands of this app share:
the month on the command line and the business it is calculated for."""

from datetime import date

from django.core.management.base import CommandError

from clients.models import Business
from reminders.months import MonthError, parse_month


def month_argument(text: str) -> date:
    """The month typed, or a plain message and exit status 1."""
    try:
        return parse_month(text)
    except MonthError as error:
        raise CommandError(str(error)) from error


def require_business() -> Business:
    business = Business.current()
    if business is None:
        raise CommandError(
            "There is no business yet: open the first page in a browser and say who you are."
        )
    return business
