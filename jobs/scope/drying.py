"""How long wet wood dries before it is sanded and sealed, by the season at the deck's place."""

from collections.abc import Collection
from datetime import date

from django.utils.translation import gettext_lazy as _

# Common practice, no source: 2 to 3 hours on a sunny summer day, 24 hours in winter.
# Between them half a day (a judgement).
DRYING_MINUTES = {"summer": (120, 180), "between": (720, 720), "winter": (1440, 1440)}
LEAST_DRYING_HOURS = DRYING_MINUTES["summer"][0] / 60  # never less
DRYING_TEXTS = {
    "summer": _("2 to 3 hours on a sunny summer day"),
    "between": _("about 12 hours in spring or autumn"),
    "winter": _("24 hours in winter"),
}
TROPIC_LATITUDE = 23.5  # degrees; between the tropics no month is winter
SUMMER_NORTH = {6, 7, 8}
WINTER_NORTH = {12, 1, 2}


def drying_season(month: int, latitude: float) -> str:
    """summer, winter or between, of that half of the earth."""
    if abs(latitude) <= TROPIC_LATITUDE:
        return "summer"
    northern = month if latitude > 0 else (month + 5) % 12 + 1
    if northern in SUMMER_NORTH:
        return "summer"
    return "winter" if northern in WINTER_NORTH else "between"


def next_workable_month(today: date, months: Collection[int]) -> date:
    """The first day of this month, or of the next one in which crews work."""
    year = today.year
    month = today.month
    while months and month not in months:
        year, month = (year, month + 1) if month < 12 else (year + 1, 1)
    return date(year, month, 1)
