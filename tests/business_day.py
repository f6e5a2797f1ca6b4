"""Which day it is. Pages, commands and rules have the date at the business; for some hours of each
day that is not the date of UTC, in which the program counts. A test that asks for the day asks
here (ruff's banned-api holds that)."""

from datetime import date

from django.utils import timezone

from clients.models import Business


def today_there() -> date:
    return Business.objects.get().today(timezone.now())
