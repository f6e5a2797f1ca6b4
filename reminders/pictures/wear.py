"""The wear curve of one deck: the chance that its coat is worn, over time."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import pairwise

from reminders.pictures.time_axis import (
    DueWindow,
    PictureMark,
    TimeAxis,
    TimeSpan,
    YearTick,
    warm_and_cold_seasons,
    year_ticks,
)


@dataclass(frozen=True)
class FoundGrade:
    """The as-found grade of one visit."""

    visited_on: date
    grade: int


@dataclass(frozen=True)
class WearFacts:
    """What the wear curve is drawn from: the chance of being worn at rising dates, and what was
    found on visits."""

    coat_on: date
    today: date
    window: DueWindow
    chances: Sequence[tuple[date, float]]
    found: Sequence[FoundGrade] = ()
    hemisphere: str = "north"
    key: str = "wear"
    coat_words: str = ""  # the day of the coat as far as it is known; empty: as it is given


@dataclass(frozen=True)
class WearCurve:
    """Everything `reminders/_wear_curve.html` draws, in the units of its view box."""

    WIDTH = 360
    HEIGHT = 232
    LEFT = 38.0
    RIGHT = 352.0
    TOP = 44.0
    BOTTOM = 184.0

    facts: WearFacts
    axis: TimeAxis
    curve: str
    area: str
    levels: list[tuple[float, str]]
    early: TimeSpan
    late: TimeSpan
    window: list[PictureMark]
    today: PictureMark | None
    found: list[PictureMark]
    years: list[YearTick]
    seasons: list[TimeSpan]


def chance_y(chance: float) -> float:
    return round(
        WearCurve.BOTTOM - min(max(chance, 0.0), 1.0) * (WearCurve.BOTTOM - WearCurve.TOP), 1
    )


def chance_on(chances: Sequence[tuple[date, float]], on: date) -> float:
    """The chance on a day, straight between its neighbours;
    before the first point none, after the last the last."""
    if on <= chances[0][0]:
        return chances[0][1]
    for (before, low), (after, high) in pairwise(chances):
        if on <= after:
            return low + (high - low) * (on - before).days / max((after - before).days, 1)
    return chances[-1][1]


def wear_axis(facts: WearFacts) -> TimeAxis:
    """From the coat to past the last thing worth seeing, with room for its label."""
    last = max(
        facts.window.late_on,
        facts.today,
        *(found.visited_on for found in facts.found),
        facts.coat_on,
    )
    room = timedelta(days=max(int((last - facts.coat_on).days * 0.14), 30))
    return TimeAxis(facts.coat_on, last + room, WearCurve.LEFT, WearCurve.RIGHT)


def curve_path(facts: WearFacts, axis: TimeAxis) -> str:
    """The line through the chances that lie on the axis, closed to its end."""
    points = [(facts.coat_on, chance_on(facts.chances, facts.coat_on))]
    points += [(on, chance) for on, chance in facts.chances if axis.starts_on < on < axis.ends_on]
    points.append((axis.ends_on, chance_on(facts.chances, axis.ends_on)))
    return "M" + " L".join(f"{axis.x(on)} {chance_y(chance)}" for on, chance in points)


def today_mark(facts: WearFacts, axis: TimeAxis) -> PictureMark | None:
    """Today on the curve; its label turns inward near the right edge."""
    if not axis.contains(facts.today):
        return None
    chance = chance_on(facts.chances, facts.today)
    x = axis.x(facts.today)
    anchor = "end" if x > WearCurve.RIGHT - 60 else "start" if x < WearCurve.LEFT + 60 else "middle"
    return PictureMark(x, chance_y(chance), facts.today, chance=chance, anchor=anchor)


def grade_marks(facts: WearFacts, axis: TimeAxis) -> list[PictureMark]:
    """Visits since the coat was laid, in date order;
    the first of the coat's own day belongs to the coat before."""
    since = sorted(
        (found for found in facts.found if found.visited_on > facts.coat_on),
        key=lambda f: f.visited_on,
    )
    return [
        PictureMark(axis.x(found.visited_on), WearCurve.TOP, found.visited_on, grade=found.grade)
        for found in since
    ]


def wear_curve(facts: WearFacts) -> WearCurve:
    """Lay out the wear curve of one coat."""
    if not facts.chances:
        raise ValueError("A wear curve needs at least one point of `chances`.")
    axis = wear_axis(facts)
    window = facts.window
    curve = curve_path(facts, axis)
    opens, due, late = (axis.x(on) for on in (window.opens_on, window.due_on, window.late_on))
    return WearCurve(
        facts=facts,
        axis=axis,
        curve=curve,
        area=f"{curve} V{WearCurve.BOTTOM} H{WearCurve.LEFT} Z",
        levels=[(chance_y(level), f"{level:.0%}".replace("%", " %")) for level in (0.2, 0.5, 0.8)],
        early=TimeSpan(opens, round(due - opens, 1)),
        late=TimeSpan(due, round(late - due, 1)),
        window=window_marks(facts, axis),
        today=today_mark(facts, axis),
        found=grade_marks(facts, axis),
        years=year_ticks(axis),
        seasons=warm_and_cold_seasons(axis, facts.hemisphere),
    )


def window_marks(facts: WearFacts, axis: TimeAxis) -> list[PictureMark]:
    dates = ((facts.window.opens_on, 0.2), (facts.window.due_on, 0.5), (facts.window.late_on, 0.8))
    return [PictureMark(axis.x(on), chance_y(chance), on, chance=chance) for on, chance in dates]
