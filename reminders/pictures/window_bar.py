"""The window bar: the window of one deck on a row of a list."""

from dataclasses import dataclass
from datetime import date

from reminders.pictures.time_axis import (
    DueWindow,
    PictureMark,
    TimeAxis,
    TimeSpan,
    YearTick,
    first_of_month,
    year_ticks,
)


@dataclass(frozen=True)
class WindowBar:
    """Everything `reminders/_window_bar.html` draws;
    all bars of a list share one axis and can be compared."""

    WIDTH = 240
    HEIGHT = 30
    MONTHS = 24
    BEFORE = 6

    window: DueWindow
    axis: TimeAxis
    early: TimeSpan
    late: TimeSpan
    due: PictureMark | None
    today: PictureMark
    years: list[YearTick]
    is_before: bool
    is_after: bool
    key: str = "window"


def window_bar(window: DueWindow, *, today: date, key: str = "window") -> WindowBar:
    """Lay out a window on 24 months: the six before this month and the eighteen from it."""
    starts_on = first_of_month(today, -WindowBar.BEFORE)
    axis = TimeAxis(
        starts_on, first_of_month(starts_on, WindowBar.MONTHS), 8.0, WindowBar.WIDTH - 8.0
    )
    opens, due, late = (axis.x(on) for on in (window.opens_on, window.due_on, window.late_on))
    return WindowBar(
        window=window,
        axis=axis,
        early=TimeSpan(opens, round(due - opens, 1)),
        late=TimeSpan(due, round(late - due, 1)),
        due=PictureMark(due, 15.0, window.due_on) if axis.contains(window.due_on) else None,
        today=PictureMark(axis.x(today), 15.0, today),
        years=year_ticks(axis),
        is_before=window.late_on < axis.starts_on,
        is_after=window.opens_on > axis.ends_on,
        key=key,
    )
