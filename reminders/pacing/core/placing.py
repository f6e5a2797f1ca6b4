"""Where the hours that are expected would fall:
into the first week with room, soonest reminded first."""

import numpy as np

from reminders.forecast.arrays import Floats
from reminders.pacing.core.problem import LeadTime


def place_hours(expected: Floats, open_hours: Floats, lead: LeadTime) -> tuple[Floats, Floats]:
    """Place hours, by the hour, into the first weeks that the lead allows and that have room.

    Parameters
    ----------
    expected : ndarray, shape (w, t)
        Hours of each reminder week (a row) and kind, such as a town (a column).
    open_hours : ndarray, shape (w + lead.last,)
        Hours of each work week.
    lead : LeadTime
        From reminder to work.

    Returns
    -------
    work : ndarray, shape (w + lead.last, t)
        Hours of each work week and kind.
    over : ndarray, shape (w,)
        Hours of each reminder week that found no room.
    """
    left = open_hours.astype(float).copy()
    work = np.zeros((len(open_hours), expected.shape[1]))
    over = np.zeros(len(expected))
    for week, hours in enumerate(expected):
        wanted = hours.copy()
        for at in range(week + lead.first, week + lead.last + 1):
            share = min(left[at] / wanted.sum(), 1.0) if wanted.sum() > 0 else 0.0
            work[at] += share * wanted
            left[at] -= share * wanted.sum()
            wanted = (1 - share) * wanted
        over[week] = wanted.sum()
    return work, over


def expected_work_week(open_hours: Floats, weeks: int, lead: LeadTime) -> Floats:
    """Return the week in which work after a reminder is to be expected:
    the middle of the hours that it can reach.

    Parameters
    ----------
    open_hours : ndarray, shape (weeks + lead.last or more,)
        Hours of each work week.
    weeks : int
        Reminder weeks.
    lead : LeadTime
        From reminder to work.

    Returns
    -------
    ndarray, shape (weeks,)
        Work weeks; NaN where no hours can be reached.
    """
    found = np.full(weeks, np.nan)
    for week in range(weeks):
        reach = np.arange(week + lead.first, week + lead.last + 1)
        room = open_hours[reach]
        if room.sum() > 0:
            found[week] = (room * reach).sum() / room.sum()
    return found
