"""Log chances of grades and their slopes, read off tables.

Given who graded, the kind of finish and the grade they hang on one number, the log of life over
age. Lives are looked at on one grid for all coats, and logs of ages are rounded to a fraction of
its step: then what a visit says of all lives of its coat is one stretch of a table.
"""

import math
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from reminders.forecast.arrays import Floats, Integers
from reminders.forecast.grade_scale import GRADE_COUNT
from reminders.forecast.wear_path import GradesSeen, WearPath

LIFE_STEP = 1 / 16  # of log life
SLOPE_STEP = 1 / 8  # slopes are looked at where the law is narrow already
ROUNDINGS = 8  # of a log age in a step: by 0.4 % of the age at most, two days in sixteen months
LEAST_RATIO, GREATEST_RATIO = -3.0, 5.0  # logs of life over age; beyond these nothing changes
MAX_LIVES = 160  # of a stretch; tables go on so far beyond both ends


class LifeGrid(NamedTuple):
    """Lives at which n coats are looked at: equally far apart in their logs.

    Parameters
    ----------
    first : ndarray of int, shape (n,)
        Number of the first, in steps from one clock month.
    size : int
        How many of each coat.
    step : float
        Of log life.
    """

    first: Integers
    size: int
    step: float

    @classmethod
    def around(cls, middle: Floats, reach: Floats, step: float) -> "LifeGrid":
        """Return lives on both sides of one.

        Parameters
        ----------
        middle : ndarray, shape (n,)
            Logs of clock months.
        reach : ndarray, shape (n,)
            How far to look; all as far as the farthest of them.
        step : float
            Of log life.

        Returns
        -------
        LifeGrid
            The lives.
        """
        half = int(np.ceil(min(reach.max(initial=0) / step, MAX_LIVES / 2 - 1)))
        return cls(np.rint(middle / step).astype(np.int64) - half, 2 * half + 1, step)

    def standardised(self, mean: Floats, spread: Floats) -> Floats:
        """Return how far the lives lie from a mean.

        Parameters
        ----------
        mean, spread : ndarray, shape (n,)
            Of log life.

        Returns
        -------
        ndarray of float32, shape (n, size)
            In standard deviations.
        """
        start = ((self.first * self.step - mean) / spread).astype(np.float32)[:, None]
        step = (self.step / spread).astype(np.float32)[:, None]
        return start + step * np.arange(self.size, dtype=np.float32)

    @property
    def log_life(self) -> Floats:
        """Logs of clock months, shape (n, size)."""
        return np.asarray(self.first[:, None] + np.arange(self.size)) * self.step


class GradeTable:
    """A function of who graded, finish, grade and the log of life over age, as a table.

    Parameters
    ----------
    path : WearPath
        The path, whose graders have rows of their own.
    values : ndarray, shape (r, m, ...)
        Of the rows of `table_rows`, at logs of life over age from `LEAST_RATIO` on.
    """

    def __init__(self, path: WearPath, values: Floats) -> None:
        self._path = path
        # By what log ages are rounded to, so that the ratios of one stretch lie side by side.
        rows, _, *inner = values.shape
        steps = values.reshape(rows, -1, ROUNDINGS, *inner).swapaxes(1, 2)
        beyond = [(0, 0), (0, 0), (MAX_LIVES, MAX_LIVES), *[(0, 0)] * len(inner)]
        padded = np.pad(steps, beyond, mode="edge").astype(np.float32)
        self._length = padded.shape[2]
        self._inner = tuple(inner)
        self._flat = padded.ravel()

    def stretches(self, seen: GradesSeen, log_age: Floats, grid: LifeGrid) -> Floats:
        """Return what each visit says of lives.

        Parameters
        ----------
        seen : GradesSeen
            The grades of v visits.
        log_age : ndarray, shape (v,)
            Logs of the ages at them.
        grid : LifeGrid
            The lives that each is asked about.

        Returns
        -------
        ndarray of float32, shape (v, grid.size, ...)
            The values of each life.
        """
        fine = grid.step / ROUNDINGS
        place = grid.first * ROUNDINGS - np.rint(log_age / fine).astype(np.int64)
        step, rounding = np.divmod(place - round(LEAST_RATIO / fine), ROUNDINGS)
        step = np.clip(step + MAX_LIVES, 0, self._length - grid.size)
        start = (table_rows(self._path, seen) * ROUNDINGS + rounding) * self._length + step
        inner = math.prod(self._inner)
        found = sliding_window_view(self._flat, grid.size * inner)[start * inner]
        return found.reshape(len(start), grid.size, *self._inner)


def table_rows(path: WearPath, seen: GradesSeen) -> Integers:
    """Return the rows of grades: by grader, finish and grade.

    Parameters
    ----------
    path : WearPath
        The path.
    seen : GradesSeen
        The grades.

    Returns
    -------
    ndarray of int, shape (v,)
        Strangers of the crew before all graders, clients behind them.
    """
    grader = np.where(seen.by_client, len(path.grader_keys), path.grader_places(seen.grader)) + 1
    return (grader * 2 + seen.is_film) * GRADE_COUNT + seen.grade


def _all_grades(path: WearPath) -> GradesSeen:
    # One of each row.
    graders = len(path.grader_keys) + 2
    grader, is_film, grade = np.indices((graders, 2, GRADE_COUNT)).reshape(3, -1)
    keys = np.concatenate([[-1], path.grader_keys, [-1]])
    return GradesSeen(grade, is_film > 0, grader == graders - 1, keys[grader])


def _log_ratios(seen: GradesSeen, step: float) -> Floats:
    # Logs of age over life at which tables are made, for each row.
    ratio = np.arange(LEAST_RATIO, GREATEST_RATIO, step / ROUNDINGS)
    return np.broadcast_to(-ratio, (len(seen.grade), len(ratio)))


@lru_cache(maxsize=2)
def log_chance_table(path: WearPath) -> GradeTable:
    """Return the log chances of grades along a path, for lives `LIFE_STEP` apart.

    Parameters
    ----------
    path : WearPath
        The path.

    Returns
    -------
    GradeTable
        One value a life.
    """
    seen = _all_grades(path)
    return GradeTable(path, path.log_chances(seen, _log_ratios(seen, LIFE_STEP)))


@lru_cache(maxsize=2)
def slope_table(path: WearPath) -> GradeTable:
    """Return how the log chances of grades move with a path, for lives `SLOPE_STEP` apart.

    Parameters
    ----------
    path : WearPath
        The path.

    Returns
    -------
    GradeTable
        As many values a life as `WearPath.local_slopes` has.
    """
    seen = _all_grades(path)
    slopes = path.local_slopes(seen, _log_ratios(seen, SLOPE_STEP))
    return GradeTable(path, np.moveaxis(slopes, 0, -1))
