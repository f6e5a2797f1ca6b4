"""Lays out the three pictures of a forecast as plain numbers for templates to draw; knows no Django and no clock."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import pairwise

WARM_MONTHS = {"north": range(4, 10), "south": (10, 11, 12, 1, 2, 3)}


@dataclass(frozen=True)
class Window:
    """The three dates of a forecast: the chance of being worn reaches 20, 50 and 80 per cent."""

    opens_on: date
    due_on: date
    late_on: date

    def __post_init__(self) -> None:
        if not self.opens_on <= self.due_on <= self.late_on:
            raise ValueError("A window runs from its opening over its due date to late; these dates are out of order.")


@dataclass(frozen=True)
class Found:
    """The as-found grade of one visit."""

    visited_on: date
    grade: int


@dataclass(frozen=True)
class Axis:
    """A stretch of time laid along a stretch of the picture."""

    starts_on: date
    ends_on: date
    left: float
    right: float

    def x(self, on: date) -> float:
        """Where a day stands; days outside the stretch stand at its end."""
        share = (on - self.starts_on).days / max((self.ends_on - self.starts_on).days, 1)
        return round(self.left + min(max(share, 0.0), 1.0) * (self.right - self.left), 1)

    def holds(self, on: date) -> bool:
        return self.starts_on <= on <= self.ends_on


@dataclass(frozen=True)
class Tick:
    x: float
    label: str = ""


@dataclass(frozen=True)
class Span:
    x: float
    width: float
    is_warm: bool = False

    @property
    def middle(self) -> float:
        return round(self.x + self.width / 2, 1)


@dataclass(frozen=True)
class Mark:
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


def year_ticks(axis: Axis) -> list[Tick]:
    """The first of January of every year on the axis; labels only where they keep clear of each other."""
    years = range(axis.starts_on.year + 1, axis.ends_on.year + 1)
    step = 1 + len(years) // 7
    return [Tick(axis.x(date(year, 1, 1)), str(year) if year % step == 0 else "") for year in years]


def seasons(axis: Axis, hemisphere: str) -> list[Span]:
    """The warm half-years on the axis (April to September in the north), which wear a coat fastest by sun."""
    firsts = [
        first_of_month(axis.starts_on, later) for later in range(months_between(axis.starts_on, axis.ends_on) + 2)
    ]
    warm = WARM_MONTHS[hemisphere]
    spans: list[Span] = []
    for first, following in pairwise(firsts):
        x, end = axis.x(first), axis.x(following)
        is_warm = first.month in warm
        if spans and spans[-1].is_warm == is_warm:
            spans[-1] = Span(spans[-1].x, round(end - spans[-1].x, 1), is_warm)
        elif end > x:
            spans.append(Span(x, round(end - x, 1), is_warm))
    return spans


def months_between(earlier: date, later: date) -> int:
    return (later.year - earlier.year) * 12 + later.month - earlier.month


# The wear curve of one deck.


@dataclass(frozen=True)
class WearFacts:
    """What the wear curve is drawn from: the chance of being worn at rising dates, and what was found on visits."""

    coat_on: date
    today: date
    window: Window
    chances: Sequence[tuple[date, float]]
    found: Sequence[Found] = ()
    hemisphere: str = "north"
    key: str = "wear"


@dataclass(frozen=True)
class WearCurve:
    """Everything `reminders/_wear_curve.html` draws, in the units of its view box."""

    WIDTH, HEIGHT = 360, 232
    LEFT, RIGHT, TOP, BOTTOM = 38.0, 352.0, 44.0, 184.0

    facts: WearFacts
    axis: Axis
    curve: str
    area: str
    levels: list[tuple[float, str]]
    early: Span
    late: Span
    window: list[Mark]
    today: Mark | None
    found: list[Mark]
    years: list[Tick]
    seasons: list[Span]

    @property
    def is_late(self) -> bool:
        return self.facts.today >= self.facts.window.late_on


def height_of(chance: float) -> float:
    return round(WearCurve.BOTTOM - min(max(chance, 0.0), 1.0) * (WearCurve.BOTTOM - WearCurve.TOP), 1)


def chance_on(chances: Sequence[tuple[date, float]], on: date) -> float:
    """The chance on a day, straight between its neighbours; before the first point none, after the last the last."""
    if on <= chances[0][0]:
        return chances[0][1]
    for (before, low), (after, high) in pairwise(chances):
        if on <= after:
            return low + (high - low) * (on - before).days / max((after - before).days, 1)
    return chances[-1][1]


def wear_axis(facts: WearFacts) -> Axis:
    """From the coat to past the last thing worth seeing, with room for its label."""
    last = max(facts.window.late_on, facts.today, *(found.visited_on for found in facts.found), facts.coat_on)
    room = timedelta(days=max(int((last - facts.coat_on).days * 0.14), 30))
    return Axis(facts.coat_on, last + room, WearCurve.LEFT, WearCurve.RIGHT)


def curve_path(facts: WearFacts, axis: Axis) -> str:
    """The line through the chances that lie on the axis, closed to its end."""
    points = [(facts.coat_on, chance_on(facts.chances, facts.coat_on))]
    points += [(on, chance) for on, chance in facts.chances if axis.starts_on < on < axis.ends_on]
    points.append((axis.ends_on, chance_on(facts.chances, axis.ends_on)))
    return "M" + " L".join(f"{axis.x(on)} {height_of(chance)}" for on, chance in points)


def today_mark(facts: WearFacts, axis: Axis) -> Mark | None:
    """Today on the curve; its label turns inward near the right edge."""
    if not axis.holds(facts.today):
        return None
    chance, x = chance_on(facts.chances, facts.today), axis.x(facts.today)
    anchor = "end" if x > WearCurve.RIGHT - 60 else "start" if x < WearCurve.LEFT + 60 else "middle"
    return Mark(x, height_of(chance), facts.today, chance=chance, anchor=anchor)


def found_marks(facts: WearFacts, axis: Axis) -> list[Mark]:
    """Visits since the coat was laid, in date order; the first of the coat's own day belongs to the coat before."""
    since = sorted((found for found in facts.found if found.visited_on > facts.coat_on), key=lambda f: f.visited_on)
    return [Mark(axis.x(found.visited_on), WearCurve.TOP, found.visited_on, grade=found.grade) for found in since]


def wear_curve(facts: WearFacts) -> WearCurve:
    """Lay out the wear curve of one coat."""
    if not facts.chances:
        raise ValueError("A wear curve needs at least one point of `chances`.")
    axis, window = wear_axis(facts), facts.window
    curve = curve_path(facts, axis)
    opens, due, late = (axis.x(on) for on in (window.opens_on, window.due_on, window.late_on))
    return WearCurve(
        facts=facts,
        axis=axis,
        curve=curve,
        area=f"{curve} V{WearCurve.BOTTOM} H{WearCurve.LEFT} Z",
        levels=[(height_of(level), f"{level:.0%}".replace("%", " %")) for level in (0.2, 0.5, 0.8)],
        early=Span(opens, round(due - opens, 1)),
        late=Span(due, round(late - due, 1)),
        window=window_marks(facts, axis),
        today=today_mark(facts, axis),
        found=found_marks(facts, axis),
        years=year_ticks(axis),
        seasons=seasons(axis, facts.hemisphere),
    )


def window_marks(facts: WearFacts, axis: Axis) -> list[Mark]:
    dates = ((facts.window.opens_on, 0.2), (facts.window.due_on, 0.5), (facts.window.late_on, 0.8))
    return [Mark(axis.x(on), height_of(chance), on, chance=chance) for on, chance in dates]


# Twelve months of decks due.


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

    WIDTH, HEIGHT = 372, 168
    TOP, BOTTOM = 26.0, 122.0
    COLUMN, BAR = 31.0, 23.0

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


def month_bar(place: int, count: MonthCount, most: int, today: date, chosen: date | None) -> MonthBar:
    """One bar; a month with few decks still shows a sliver, and an empty one shows its line only."""
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
        is_now=months_between(count.month, today) == 0,
        is_chosen=chosen is not None and months_between(count.month, chosen) == 0,
        starts_year=place == 0 or count.month.month == 1,
    )


# The window of one deck on a row of a list.


@dataclass(frozen=True)
class WindowBar:
    """Everything `reminders/_window_bar.html` draws; all bars of a list share one axis and can be compared."""

    WIDTH, HEIGHT = 240, 30
    MONTHS, BEFORE = 24, 6

    window: Window
    axis: Axis
    early: Span
    late: Span
    due: Mark | None
    today: Mark
    years: list[Tick]
    is_before: bool
    is_after: bool
    key: str = "window"


def window_bar(window: Window, *, today: date, key: str = "window") -> WindowBar:
    """Lay out a window on 24 months: the six before this month and the eighteen from it."""
    starts_on = first_of_month(today, -WindowBar.BEFORE)
    axis = Axis(starts_on, first_of_month(starts_on, WindowBar.MONTHS), 8.0, WindowBar.WIDTH - 8.0)
    opens, due, late = (axis.x(on) for on in (window.opens_on, window.due_on, window.late_on))
    return WindowBar(
        window=window,
        axis=axis,
        early=Span(opens, round(due - opens, 1)),
        late=Span(due, round(late - due, 1)),
        due=Mark(due, 15.0, window.due_on) if axis.holds(window.due_on) else None,
        today=Mark(axis.x(today), 15.0, today),
        years=year_ticks(axis),
        is_before=window.late_on < axis.starts_on,
        is_after=window.opens_on > axis.ends_on,
        key=key,
    )
