"""How much room each stretch of reminder weeks has, and how sure it is that what comes of them
fits.

Reminders of weeks s to e bring work to weeks s + first … e + last. What they bring can be placed,
by the hour, exactly when for every s ≤ e the hours of reminders sent in s … e fit into the hours of
those weeks (Hall's condition; all windows have one length, so the intervals suffice). The hours are
a sum of independent yes-or-no answers (a weighted Poisson binomial law) and are taken as normal:
mean + z·sd ≤ hours.
"""

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from reminders.forecast.arrays import Floats, Integers
from reminders.pacing.core.problem import CrewHours, LeadTime, ReminderCandidates

MIN_SD_SHARE = 0.05  # of the hours: a tangent nearer to 0 would be steep and shut the stretch
DOUBT_HEADROOM = 1.05  # how much more shared doubt than now the next round may hold


@dataclass(frozen=True, eq=False)
class HallIntervals:
    """The k stretches with room, over p weeks before the plan and w weeks of it.

    Parameters
    ----------
    inside : ndarray, shape (k, p + w)
        1 for the reminder weeks of the stretch.
    hours : ndarray, shape (k,)
        Hours of the work weeks that these can reach.
    past : int
        p, the weeks before the plan whose answers may still come.
    """

    inside: Floats
    hours: Floats
    past: int

    def total(self, moments: Floats) -> Floats:
        """Sum the moments of weeks over each stretch.

        Parameters
        ----------
        moments : ndarray, shape (p + w, 3)
            Mean, variance and shared doubt of each reminder week.

        Returns
        -------
        ndarray, shape (k, 3)
            The same of each stretch.
        """
        return self.inside @ moments


def hall_intervals(hours: CrewHours, weeks: int, lead: LeadTime) -> HallIntervals:
    """Return every stretch of reminder weeks that reaches hours.

    Parameters
    ----------
    hours : CrewHours
        What the crews have.
    weeks : int
        Weeks of the plan.
    lead : LeadTime
        From reminder to work.

    Returns
    -------
    HallIntervals
        Those before the plan only where something is out.
    """
    past = int(-hours.outstanding_week.min(initial=0))
    reach = np.concatenate([[0.0], np.cumsum(hours.available)])
    rows = []
    room = []
    for start in range(-past, weeks):
        for end in range(max(start, 0), weeks):
            intervals = reach[end + lead.last + 1] - reach[max(start + lead.first, 0)]
            if intervals > 0:
                rows.append((np.arange(-past, weeks) >= start) & (np.arange(-past, weeks) <= end))
                room.append(intervals)
    inside = np.array(rows, dtype=float) if rows else np.zeros((0, past + weeks))
    return HallIntervals(inside, np.array(room, dtype=float), past)


def reachable_hours(hours: CrewHours, weeks: int, lead: LeadTime) -> Floats:
    """Return the hours that a reminder of each week can reach.

    Parameters
    ----------
    hours : CrewHours
        What the crews have.
    weeks : int
        Weeks of the plan.
    lead : LeadTime
        From reminder to work.

    Returns
    -------
    ndarray, shape (weeks,)
        Hours.
    """
    reach = np.concatenate([[0.0], np.cumsum(hours.available)])
    week = np.arange(weeks)
    return reach[week + lead.last + 1] - reach[week + lead.first]


def moments_by_week(
    work: ReminderCandidates, chosen: Integers, hours: CrewHours, past: int
) -> Floats:
    """Sum the moments of what goes out in each week, before the plan and in it.

    Parameters
    ----------
    work : ReminderCandidates
        What may be reminded.
    chosen : ndarray, shape (n,)
        Week of each; below 0 is none.
    hours : CrewHours
        With what is out already.
    past : int
        Weeks before the plan.

    Returns
    -------
    ndarray, shape (past + w, 3)
        Mean, variance and shared doubt.
    """
    total = np.zeros((past + work.weeks, 3))
    np.add.at(total, hours.outstanding_week + past, hours.outstanding)
    taken = chosen >= 0
    np.add.at(total, chosen[taken] + past, work.moments[taken])
    return total


def standard_deviation(moments: Floats) -> Floats:
    """Return the standard deviation of sums:
    own variances add, shared doubts add before they are squared.

    Parameters
    ----------
    moments : ndarray, shape (k, 3)
        Mean, variance, shared doubt.

    Returns
    -------
    ndarray, shape (k,)
        Standard deviations.
    """
    return np.sqrt(np.maximum(moments[:, 1], 0) + moments[:, 2] ** 2)  # a solver may leave −1e-15


def fits_intervals(
    intervals: HallIntervals, total: Floats, column: int, more: Floats, z: float
) -> bool:
    """Tell whether one more reminder in a week leaves mean + z·sd within the hours of every stretch
    around it.

    Parameters
    ----------
    intervals : HallIntervals
        The stretches.
    total : ndarray, shape (k, 3)
        Moments of each stretch so far.
    column : int
        Week, counted from the first column of `inside`.
    more : ndarray, shape (3,)
        Moments of the reminder.
    z : float
        Standard deviations that stay free.

    Returns
    -------
    bool
        Whether it fits; no if no stretch with hours holds the week.
    """
    touched = intervals.inside[:, column] > 0
    then = total[touched] + more
    return bool(
        touched.any()
        and (then[:, 0] + z * standard_deviation(then) <= intervals.hours[touched]).all()
    )


def slack_by_week(intervals: HallIntervals, total: Floats, z: float) -> Floats:
    """Return the hours that each week could take if they came for sure:
    a quick no before `fits` is asked.

    Parameters
    ----------
    intervals : HallIntervals
        The stretches.
    total : ndarray, shape (k, 3)
        Moments of each stretch so far.
    z : float
        Standard deviations that stay free.

    Returns
    -------
    ndarray, shape (p + w,)
        Hours of the tightest stretch around each week; −inf where no stretch has hours.
    """
    left = (intervals.hours - total[:, 0] - z * standard_deviation(total))[:, None]
    tightest = np.where(intervals.inside > 0, left, np.inf).min(axis=0, initial=np.inf)
    return np.where(np.isfinite(tightest), tightest, -np.inf)


def overrun_chances(intervals: HallIntervals, moments: Floats) -> Floats:
    """Return the chance, by the normal law, that more is accepted in each stretch than fits.

    Parameters
    ----------
    intervals : HallIntervals
        The stretches.
    moments : ndarray, shape (p + w, 3)
        What goes out by week.

    Returns
    -------
    ndarray, shape (k,)
        Chances; 0 where nothing goes out.
    """
    total = intervals.total(moments)
    sd = np.maximum(standard_deviation(total), 1e-12)
    return np.where(total[:, 0] > 0, ndtr((total[:, 0] - intervals.hours) / sd), 0.0)


@dataclass(frozen=True, eq=False)
class LinearisedBound:
    """A straight bound above mean + z·sd, exact at one spread, for every stretch.

    The root is concave, so its tangent at V₀ lies above it: sd ≤ (V/√V₀ + √V₀)/2 for V = v + b².
    The shared doubt b is kept at most at `max_doubt`, so b² ≤ most·b. Any plan that keeps the
    straight bound keeps mean + z·sd ≤ hours.

    Parameters
    ----------
    slopes : ndarray, shape (k, 3)
        Of mean, variance and shared doubt.
    intercept : ndarray, shape (k,)
        What is taken off the hours at once.
    max_doubt : ndarray, shape (k,)
        Bound of the shared doubt, to be kept beside the straight one.
    """

    slopes: Floats
    intercept: Floats
    max_doubt: Floats


def linearise_bound(
    intervals: HallIntervals,
    moments: Floats | None,
    work: ReminderCandidates,
    out: Floats,
    z: float,
) -> LinearisedBound:
    """Return the straight bound at the spread of a plan, or at that of a full one.

    Parameters
    ----------
    intervals : HallIntervals
        The stretches.
    moments : ndarray, shape (p + w, 3), or None
        What goes out by week in the plan; None before there is one.
    work : ReminderCandidates
        What may be reminded.
    out : ndarray, shape (k, 3)
        Moments of what is out already.
    z : float
        Standard deviations that stay free.

    Returns
    -------
    LinearisedBound
        One row a stretch.
    """
    every = np.vstack([work.moments, out])
    mean = np.maximum(every[:, 0], 1e-12)
    doubt = every[:, 2] / mean
    own = (every[:, 1] / mean).mean()
    fullest = intervals.hours / (1 + z * doubt.min())
    most = doubt.max() * fullest
    sd = np.sqrt(own * fullest + most**2)
    if moments is not None:
        total = intervals.total(moments)
        sd = standard_deviation(total)
        if z > 0:  # without a margin the doubt bounds nothing
            most = np.minimum(
                np.maximum(total[:, 2] * DOUBT_HEADROOM, doubt.max() * MIN_SD_SHARE * fullest), most
            )
    sd = np.clip(sd, MIN_SD_SHARE * intervals.hours, intervals.hours / max(z, 1e-9))
    slope = z / (2 * sd)
    return LinearisedBound(
        np.column_stack([np.ones_like(slope), slope, slope * most]), z * sd / 2, most
    )
