"""The curve of lives that visits allow without any assumption about its shape (Turnbull 1976), for
intervals (l, r] and for lives known exactly."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from reminders.forecast.arrays import Floats, Integers


@dataclass(frozen=True, eq=False)
class TurnbullEstimate:
    """Masses on the intervals (left, right] that hold them;
    where inside an interval is not determined.

    Parameters
    ----------
    left, right : ndarray, shape (m,)
        Ends of the intervals, ascending; equal where the mass lies on a point.
    mass : ndarray, shape (m,)
        Probabilities, summing to 1.
    """

    left: Floats
    right: Floats
    mass: Floats

    def mass_between(self, low: float, high: float) -> float:
        """Return the mass in (low, high], intervals that straddle an end counted by length.

        Parameters
        ----------
        low, high : float
            The ends.

        Returns
        -------
        float
            Probability.
        """
        width = self.right - self.left
        overlap = np.minimum(self.right, high) - np.maximum(self.left, low)
        with np.errstate(invalid="ignore", divide="ignore"):
            part = np.nan_to_num(np.clip(overlap / width, 0, 1))
        point = (low < self.right) & (self.right <= high)
        return float((self.mass * np.where(width > 0, part, point)).sum())


def _order_ends(lower: Floats, upper: Floats) -> tuple[Integers, Integers, Floats]:
    # Every end as a place on one line, and the ages that the places stand for. At equal ages an
    # exact life begins before the intervals that end there, and those before the intervals (l, r]
    # that begin.
    ages, rank = np.unique(np.concatenate([lower, upper]), return_inverse=True)
    first, last = np.split(3 * rank.ravel(), 2)
    return first + np.where(lower < upper, 2, 0), last + 1, np.repeat(ages, 3)


def _innermost_intervals(lower: Integers, upper: Integers) -> tuple[Integers, Integers]:
    # Mass can only lie where a lower end is next followed by an upper end.
    points = np.concatenate([lower, upper])
    is_upper = np.concatenate([np.zeros(len(lower), dtype=bool), np.ones(len(upper), dtype=bool)])
    order = np.argsort(points, kind="stable")
    points = points[order]
    is_upper = is_upper[order]
    turn = np.flatnonzero(~is_upper[:-1] & is_upper[1:])
    return points[turn], points[turn + 1]


def turnbull_estimate(
    lower: Floats,
    upper: Floats,
    weight: Floats | None = None,
    *,
    tolerance: float = 1e-10,
    steps: int = 20_000,
) -> TurnbullEstimate:
    """Return the most likely curve of lives, each known to lie in (lower, upper] or exactly.

    Parameters
    ----------
    lower : ndarray, shape (n,)
        Ages at which the coats were sound.
    upper : ndarray, shape (n,)
        Ages at which they were worn; infinity if never, equal to `lower` for a life known exactly.
    weight : ndarray, shape (n,), optional
        How many coats a row stands for.
    tolerance : float
        Change of the log-likelihood a coat at which to stop.
    steps : int
        Most steps.

    Returns
    -------
    TurnbullEstimate
        Intervals and their masses.
    """
    lower = np.asarray(lower, dtype=float)
    upper = np.asarray(upper, dtype=float)
    bad = ~((lower <= upper) & (lower < np.inf))
    if bad.any():
        row = int(np.argmax(bad))
        raise ValueError(
            f"upper must not lie below lower; row {row} has {lower[row]:g} and {upper[row]:g}"
        )
    pairs, index = np.unique(np.column_stack([lower, upper]), axis=0, return_inverse=True)
    count = np.bincount(index.ravel(), weights=weight)
    starts, ends, ages = _order_ends(pairs[:, 0], pairs[:, 1])
    left, right = _innermost_intervals(starts, ends)
    first = np.searchsorted(left, starts, side="left")
    last = np.searchsorted(right, ends, side="right")
    mass = _expectation_maximisation(first, last, count, len(left), tolerance, steps)
    return TurnbullEstimate(ages[left], ages[right], mass)


def _expectation_maximisation(
    first: NDArray[Any],
    last: NDArray[Any],
    count: NDArray[Any],
    cells: int,
    tolerance: float,
    steps: int,
) -> Floats:
    # A row may draw on the cells first … last − 1; sums over cells are differences of running sums.
    # Each round takes two plain steps and one leap along them (SQUAREM of Varadhan & Roland 2008),
    # undone where it does not help.
    mass = np.full(cells, 1 / cells)
    value = -np.inf

    def step(mass: Floats) -> tuple[Floats, float]:
        running = np.concatenate([[0.0], np.cumsum(mass)])
        chance = np.maximum(running[last] - running[first], 1e-300)
        gain = np.bincount(first, count / chance, cells + 1) - np.bincount(
            last, count / chance, cells + 1
        )
        updated = mass * np.maximum(np.cumsum(gain)[:-1], 0) / count.sum()
        return updated / updated.sum(), float(count @ np.log(chance))

    for _ in range(steps):
        one, before = step(mass)
        two, between = step(one)
        leap = _squarem_leap(mass, one, two)
        _, there = step(leap)
        mass, now = (leap, there) if there >= between else (two, between)
        if (
            abs(now - value) < tolerance * count.sum() * 1e-2
            and abs(between - before) < tolerance * count.sum()
        ):
            break
        value = now
    return mass


def _squarem_leap(mass: Floats, one: Floats, two: Floats) -> Floats:
    change = one - mass
    second_difference = two - 2 * one + mass
    ratio = float(np.sqrt(change @ change)) / max(
        float(np.sqrt(second_difference @ second_difference)), 1e-300
    )
    length = -min(max(ratio, 1.0), 1e3)
    leap = np.maximum(mass - 2 * length * change + length**2 * second_difference, 0)
    return leap / leap.sum() if leap.sum() > 0 else two
