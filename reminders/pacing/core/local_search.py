"""Better by exchange: take one or two households out of a plan and put them where they fit best, at
the true risk."""

from dataclasses import dataclass
from itertools import permutations

import numpy as np

from reminders.forecast.arrays import Floats, Integers
from reminders.pacing.core.hall_intervals import HallIntervals, fits_intervals

MAX_PASSES = 6
MAX_PAIRED_HOUSEHOLDS = 40  # households; of more only one is moved at a time
NO_WEEK = -1
MIN_GAIN = 1e-9


@dataclass(eq=False)
class PlanExchange:
    """A plan that is bettered in place.

    Parameters
    ----------
    intervals : HallIntervals
        The stretches of weeks.
    total : ndarray, shape (k, 3)
        Moments of each stretch, with everything that is in the plan.
    moments : ndarray, shape (n, 3)
        Of one reminder of each household.
    worth : ndarray, shape (n, w)
        Value of each week; −inf where it does not come into question.
    week : ndarray, shape (n,)
        The plan; changed.
    z : float
        Standard deviations that stay free.
    """

    intervals: HallIntervals
    total: Floats
    moments: Floats
    worth: Floats
    week: Integers
    z: float

    def improve(self, rows: Integers) -> Integers:
        """Exchange one and two of these rows at a time until nothing gains.

        Parameters
        ----------
        rows : ndarray, shape (m,)
            Households that may be moved.

        Returns
        -------
        ndarray, shape (n,)
            The plan.
        """
        for _ in range(MAX_PASSES):
            gained = [self.try_exchange([row]) for row in rows.tolist()]
            if len(rows) <= MAX_PAIRED_HOUSEHOLDS:
                gained += [self.try_exchange(list(pair)) for pair in permutations(rows.tolist(), 2)]
            if not any(gained):
                break
        return self.week

    def try_exchange(self, rows: list[int]) -> bool:
        """Take them out and put them back one after the other; undone if that gains nothing."""
        before = self.week[rows].copy()
        total = self.total.copy()
        if len(rows) > 1 and (before == NO_WEEK).all():
            return False
        worth = self.value_of(rows)
        for row in rows:
            self.remove(row)
        for row in rows:
            self.insert(row)
        if self.value_of(rows) > worth + MIN_GAIN:
            return True
        self.week[rows] = before
        self.total = total
        return False

    def value_of(self, rows: list[int]) -> float:
        return sum(
            float(self.worth[row, self.week[row]]) for row in rows if self.week[row] != NO_WEEK
        )

    def remove(self, row: int) -> None:
        if self.week[row] != NO_WEEK:
            self.total = self.total - self.interval_moments(row, int(self.week[row]))
            self.week[row] = NO_WEEK

    def insert(self, row: int) -> None:
        """Into the week worth most of those with room."""
        for week in np.argsort(-self.worth[row]).tolist():
            if not self.worth[row, week] > 0:
                return
            if fits_intervals(
                self.intervals, self.total, self.intervals.past + week, self.moments[row], self.z
            ):
                self.total = self.total + self.interval_moments(row, week)
                self.week[row] = week
                return

    def interval_moments(self, row: int, week: int) -> Floats:
        return self.intervals.inside[:, [self.intervals.past + week]] * self.moments[row]
