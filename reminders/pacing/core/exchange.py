"""Better by exchange: take one or two households out of a plan and put them where they fit best, at the true risk."""

from itertools import permutations

import numpy as np

from reminders.pacing.core.problem import Floats, Integers
from reminders.pacing.core.stretches import Stretches, fits

PASSES = 6
MOST_IN_PAIRS = 40  # households; of more only one is moved at a time
NONE = -1
GAIN = 1e-9


class Exchange:
    """A plan that is bettered in place.

    Parameters
    ----------
    found : Stretches
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

    def __init__(
        self, found: Stretches, total: Floats, moments: Floats, worth: Floats, week: Integers, z: float
    ) -> None:
        self.found, self.total, self.moments, self.worth, self.week, self.z = found, total, moments, worth, week, z

    def better(self, rows: Integers) -> Integers:
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
        for _ in range(PASSES):
            gained = [self.gains([row]) for row in rows.tolist()]
            if len(rows) <= MOST_IN_PAIRS:
                gained += [self.gains(list(pair)) for pair in permutations(rows.tolist(), 2)]
            if not any(gained):
                break
        return self.week

    def gains(self, rows: list[int]) -> bool:
        """Take them out and put them back one after the other; undone if that gains nothing."""
        before, total = self.week[rows].copy(), self.total.copy()
        if len(rows) > 1 and (before == NONE).all():
            return False
        worth = self.worth_of(rows)
        for row in rows:
            self.take_out(row)
        for row in rows:
            self.put_in(row)
        if self.worth_of(rows) > worth + GAIN:
            return True
        self.week[rows], self.total = before, total
        return False

    def worth_of(self, rows: list[int]) -> float:
        return sum(float(self.worth[row, self.week[row]]) for row in rows if self.week[row] != NONE)

    def take_out(self, row: int) -> None:
        if self.week[row] != NONE:
            self.total = self.total - self.part(row, int(self.week[row]))
            self.week[row] = NONE

    def put_in(self, row: int) -> None:
        """Into the week worth most of those with room."""
        for week in np.argsort(-self.worth[row]).tolist():
            if not self.worth[row, week] > 0:
                return
            if fits(self.found, self.total, self.found.past + week, self.moments[row], self.z):
                self.total = self.total + self.part(row, week)
                self.week[row] = week
                return

    def part(self, row: int, week: int) -> Floats:
        return self.found.inside[:, [self.found.past + week]] * self.moments[row]
