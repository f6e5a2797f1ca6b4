"""Two simple ways to choose, to be measured against: soonest due first, and any order."""

import numpy as np

from reminders.forecast.arrays import Integers
from reminders.pacing.core.hall_intervals import (
    fits_intervals,
    hall_intervals,
    moments_by_week,
    slack_by_week,
)
from reminders.pacing.core.problem import (
    FREE_CHOICE,
    CrewHours,
    LeadTime,
    PacingRules,
    ReminderCandidates,
)


def assign_in_order(
    order: Integers,
    work: ReminderCandidates,
    hours: CrewHours,
    *,
    lead: LeadTime | None = None,
    rules: PacingRules | None = None,
) -> Integers:
    """Take them one by one into the first week that is allowed and still has room, at the same risk
    as a plan.

    Parameters
    ----------
    order : ndarray, shape (n,)
        Rows of the work, first one first.
    work : ReminderCandidates
        What may be reminded.
    hours : CrewHours
        What the crews have.
    lead : LeadTime, optional
        From reminder to work.
    rules : PacingRules, optional
        Risk.

    Returns
    -------
    ndarray, shape (n,)
        Week of each; -1 is none.
    """
    lead = lead or LeadTime()
    rules = rules or PacingRules()
    intervals = hall_intervals(hours, work.weeks, lead)
    week = np.where(work.fixed >= 0, work.fixed, -1)
    total = intervals.total(moments_by_week(work, week, hours, intervals.past))
    left = slack_by_week(intervals, total, rules.z)[intervals.past :]
    for row in order[work.fixed[order] == FREE_CHOICE]:
        for at in np.nonzero(work.allowed[row] & (left >= work.moments[row, 0]))[0]:
            if fits_intervals(
                intervals, total, intervals.past + int(at), work.moments[row], rules.z
            ):
                week[row] = at
                total += intervals.inside[:, [intervals.past + at]] * work.moments[row]
                left = slack_by_week(intervals, total, rules.z)[intervals.past :]
                break
    return week
