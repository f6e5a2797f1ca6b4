"""What the pictures share: a window, a stretch of time, its years and its seasons."""

from dataclasses import dataclass
from datetime import date
from itertools import pairwise

WARM_MONTHS = {"north": range(4, 10), "south": (10, 11, 12, 1, 2, 3)}


@dataclass(frozen=True)
class DueWindow:
    """The three dates of a forecast: the chance of being worn reaches 20, 50 and 80 per cent."""

    opens_on: date
    due_on: date
    late_on: date

    def __post_init__(self) -> None:
        if not self.opens_on <= self.due_on <= self.late_on:
            raise ValueError(
                "A window runs from its opening over its due date to late; these dates are out of"
                " order."
            )


@dataclass(frozen=True)
class TimeAxis:
    """A stretch of time laid along a stretch of the picture."""

    starts_on: date
    ends_on: date
    left: float
    right: float

    def x(self, on: date) -> float:
        """Where a day stands; days outside the stretch stand at its end."""
        share = (on - self.starts_on).days / max((self.ends_on - self.starts_on).days, 1)
        return round(self.left + min(max(share, 0.0), 1.0) * (self.right - self.left), 1)

    def contains(self, on: date) -> bool:
        return self.starts_on <= on <= self.ends_on


@dataclass(frozen=True)
class YearTick:
    x: float
    label: str = ""


@dataclass(frozen=True)
class TimeSpan:
    x: float
    width: float
    is_warm: bool = False

    @property
    def middle(self) -> float:
        return round(self.x + self.width / 2, 1)


@dataclass(frozen=True)
class PictureMark:
    """A place in the picture with its date and, where it is a visit, the grade."""

    x: float
    y: float
    on: date
    grade: int | None = None
    chance: float | None = None
    anchor: str = "start"


def first_of_month(on: date, later: int = 0) -> date:
    """The first day of the month that is `later` months after the month of `on`."""
    years, month = divmod(on.month - 1 + later, 12)
    return date(on.year + years, month + 1, 1)


def year_ticks(axis: TimeAxis) -> list[YearTick]:
    """The first of January of every year on the axis;
    labels only where they keep clear of each other."""
    years = range(axis.starts_on.year + 1, axis.ends_on.year + 1)
    step = 1 + len(years) // 7
    return [
        YearTick(axis.x(date(year, 1, 1)), str(year) if year % step == 0 else "") for year in years
    ]


def warm_and_cold_seasons(axis: TimeAxis, hemisphere: str) -> list[TimeSpan]:
    """The warm half-years on the axis (April to September in the north), which wear a coat fastest
    by sun."""
    firsts = [
        first_of_month(axis.starts_on, later)
        for later in range(count_months(axis.starts_on, axis.ends_on) + 2)
    ]
    warm = WARM_MONTHS[hemisphere]
    spans: list[TimeSpan] = []
    for first, following in pairwise(firsts):
        x = axis.x(first)
        end = axis.x(following)
        is_warm = first.month in warm
        if spans and spans[-1].is_warm == is_warm:
            spans[-1] = TimeSpan(spans[-1].x, round(end - spans[-1].x, 1), is_warm)
        elif end > x:
            spans.append(TimeSpan(x, round(end - x, 1), is_warm))
    return spans


def count_months(earlier: date, later: date) -> int:
    return (later.year - earlier.year) * 12 + later.month - earlier.month
