"""The month strip: how many decks are due in each of twelve months."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from reminders.pictures.time_axis import count_months


@dataclass(frozen=True)
class MonthCount:
    """How many decks are due in a month, and the page that lists them."""

    month: date
    count: int
    url: str = ""


@dataclass(frozen=True)
class MonthBar:
    month: date
    count: int
    url: str
    left: float
    middle: float
    top: float
    height: float
    is_now: bool
    is_chosen: bool
    starts_year: bool


@dataclass(frozen=True)
class MonthStrip:
    """Everything `reminders/_month_strip.html` draws."""

    WIDTH = 372
    HEIGHT = 168
    TOP = 26.0
    BOTTOM = 122.0
    COLUMN = 31.0

    bars: list[MonthBar]
    total: int
    key: str = "months"

    @property
    def busiest(self) -> MonthBar | None:
        return max(self.bars, key=lambda bar: bar.count, default=None) if self.total else None


def month_strip(
    counts: Sequence[MonthCount], *, today: date, chosen: date | None = None, key: str = "months"
) -> MonthStrip:
    """Lay out one bar a month; `chosen` is the month whose list is open."""
    most = max((count.count for count in counts), default=0)
    bars = [month_bar(place, count, most, today, chosen) for place, count in enumerate(counts)]
    return MonthStrip(bars=bars, total=sum(count.count for count in counts), key=key)


def month_bar(
    place: int, count: MonthCount, most: int, today: date, chosen: date | None
) -> MonthBar:
    """One bar; a month with few decks still shows a sliver, and an empty one shows its line
    only."""
    span = MonthStrip.BOTTOM - MonthStrip.TOP
    height = round(max(span * count.count / most, 4.0), 1) if count.count else 0.0
    left = round(place * MonthStrip.COLUMN, 1)
    return MonthBar(
        month=count.month,
        count=count.count,
        url=count.url,
        left=left,
        middle=left + MonthStrip.COLUMN / 2,
        top=round(MonthStrip.BOTTOM - height, 1),
        height=height,
        is_now=count_months(count.month, today) == 0,
        is_chosen=chosen is not None and count_months(count.month, chosen) == 0,
        starts_year=place == 0 or count.month.month == 1,
    )
