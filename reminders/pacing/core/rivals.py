"""Two simple ways to choose, to be measured against: soonest due first, and any order."""

import numpy as np

from reminders.pacing.core.problem import FREE, Hours, Integers, Lead, Rules, Work
from reminders.pacing.core.stretches import by_week, fits, slack, stretches


def in_order(
    order: Integers, work: Work, hours: Hours, *, lead: Lead | None = None, rules: Rules | None = None
) -> Integers:
    """Take them one by one into the first week that is allowed and still has room, at the same risk as a plan.

    Parameters
    ----------
    order : ndarray, shape (n,)
        Rows of the work, first one first.
    work : Work
        What may be reminded.
    hours : Hours
        What the crews have.
    lead : Lead, optional
        From reminder to work.
    rules : Rules, optional
        Risk.

    Returns
    -------
    ndarray, shape (n,)
        Week of each; -1 is none.
    """
    lead, rules = lead or Lead(), rules or Rules()
    found = stretches(hours, work.weeks, lead)
    week = np.where(work.fixed >= 0, work.fixed, -1)
    total = found.total(by_week(work, week, hours, found.past))
    left = slack(found, total, rules.z)[found.past :]
    for row in order[work.fixed[order] == FREE]:
        for at in np.nonzero(work.allowed[row] & (left >= work.moments[row, 0]))[0]:
            if fits(found, total, found.past + int(at), work.moments[row], rules.z):
                week[row] = at
                total += found.inside[:, [found.past + at]] * work.moments[row]
                left = slack(found, total, rules.z)[found.past :]
                break
    return week
