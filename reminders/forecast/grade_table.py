"""Log chances of grades and their slopes, read off tables.

Given who graded, the kind of finish and the grade they hang on one number, the log of life over
age. Lives are looked at on one grid for all coats, and logs of ages are rounded to a fraction of
its step: then what a visit says of all lives of its coat is one stretch of a table. How that moves
with the path is asked of lives about which little is left in doubt: a table by their mean and by
their spread.
"""

from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray
from scipy import fft

from reminders.forecast.arrays import Floats, Integers
from reminders.forecast.grade_scale import GRADE_COUNT
from reminders.forecast.wear_path import GradesSeen, WearPath

LIFE_STEP = 1 / 16  # of log life
ROUNDINGS = 8  # of a log age in a step: by 0.4 % of the age at most, two days in sixteen months
LEAST_RATIO, GREATEST_RATIO = -3.0, 5.0  # logs of life over age; beyond these nothing changes
MAX_LIVES = 160  # of a stretch; tables go on so far beyond both ends
SLOPE_STEP = 1 / 32  # of the mean log life, for slopes
# Of log life, for slopes: between these one is as good as the next, below the first as the first.
SLOPE_SPREADS = 0.05 * 1.15 ** np.arange(22)
SLOPE_BEYOND = 2.0  # of log life, where nothing changes: so far no end is felt at the other


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

    @property
    def places(self) -> NDArray[np.float32]:
        """Places of the lives counted from the middle one, in steps, shape (size,)."""
        return np.arange(self.size, dtype=np.float32) - self.size // 2

    def log_normal(self, mean: Floats, spread: Floats) -> NDArray[np.float32]:
        """Return the log of the normal law, without its constant.

        Parameters
        ----------
        mean, spread : ndarray, shape (n,)
            Of log life.

        Returns
        -------
        ndarray of float32, shape (n, size)
            0 at the mean.
        """
        middle = (self.first + self.size // 2) * self.step
        start = ((middle - mean) / spread).astype(np.float32)
        away = (self.step / spread).astype(np.float32)[:, None] * self.places
        away += start[:, None]
        away *= away
        away *= -0.5
        return np.asarray(away, dtype=np.float32)

    def moments(self, weight: Floats) -> tuple[Floats, Floats]:
        """Return means and variances of log life.

        Parameters
        ----------
        weight : ndarray of float32, shape (n, size)
            What each life weighs.

        Returns
        -------
        mean, variance : ndarray, shape (n,)
            Of logs of clock months.
        """
        powers = np.stack([np.ones_like(self.places), self.places, self.places**2])
        total, first, second = (powers @ weight.T).astype(float)
        away = first / total
        mean = (self.first + self.size // 2 + away) * self.step
        return mean, np.maximum(second / total - away**2, 0.0) * self.step**2

    @property
    def log_life(self) -> Floats:
        """Logs of clock months, shape (n, size)."""
        return np.asarray(self.first[:, None] + np.arange(self.size)) * self.step


class GradeTable:
    """The log chances of grades by the log of life over age, for lives `LIFE_STEP` apart.

    Parameters
    ----------
    path : WearPath
        The path, whose graders have rows of their own.
    """

    def __init__(self, path: WearPath) -> None:
        seen = _all_grades(path)
        values = path.log_chances(seen, -_log_ratios(seen, LIFE_STEP / ROUNDINGS))
        # By what log ages are rounded to, so that the ratios of one stretch lie side by side.
        steps = values.reshape(len(values), -1, ROUNDINGS).swapaxes(1, 2)
        beyond = [(0, 0), (0, 0), (MAX_LIVES, MAX_LIVES)]
        padded = np.pad(steps, beyond, mode="edge").astype(np.float32)
        self._length = padded.shape[2]
        self._flat = padded.ravel()

    def stretches(self, row: Integers, log_age: Floats, grid: LifeGrid) -> Floats:
        """Return what each visit says of lives.

        Parameters
        ----------
        row : ndarray of int, shape (v,)
            The grades of v visits, as `table_rows` has them.
        log_age : ndarray, shape (v,)
            Logs of the ages at them.
        grid : LifeGrid
            The lives that each is asked about.

        Returns
        -------
        ndarray of float32, shape (v, grid.size)
            The log chances for each life.
        """
        fine = LIFE_STEP / ROUNDINGS
        place = grid.first * ROUNDINGS - np.rint(log_age / fine).astype(np.int64)
        step, rounding = np.divmod(place - round(LEAST_RATIO / fine), ROUNDINGS)
        step = np.clip(step + MAX_LIVES, 0, self._length - grid.size)
        start = (row * ROUNDINGS + rounding) * self._length + step
        return sliding_window_view(self._flat, grid.size)[start]


class SlopeTable:
    """How the log chances of grades move with a path and with the log life at once, in the mean
    over normal laws of log life.

    Parameters
    ----------
    path : WearPath
        The path, whose graders have rows of their own.
    """

    def __init__(self, path: WearPath) -> None:
        seen = _all_grades(path)
        slopes = path.local_slopes(seen, -_log_ratios(seen, SLOPE_STEP)).astype(np.float32)
        table = _smoothed_derivatives(slopes)  # by spread, slope, row and ratio
        self._ratios = table.shape[-1]
        self._flat = table.transpose(2, 0, 3, 1).reshape(-1, len(slopes))
        self.columns = path.slope_columns(seen)

    def bends(self, row: Integers, log_ratio: Floats, spread: Floats) -> Floats:
        """Return the slopes by path and log life.

        Parameters
        ----------
        row : ndarray of int, shape (v,)
            The grades of v visits, as `table_rows` has them.
        log_ratio : ndarray, shape (v,)
            Means of log life less the logs of the ages.
        spread : ndarray, shape (v,)
            Standard deviations of log life.

        Returns
        -------
        ndarray of float32, shape (v, 7)
            With what `WearPath.local_slopes` has.
        """
        place = np.rint((log_ratio - LEAST_RATIO) / SLOPE_STEP).astype(np.int64)
        place = np.clip(place, 0, self._ratios - 1)
        between = np.sqrt(SLOPE_SPREADS[1:] * SLOPE_SPREADS[:-1])
        level = np.searchsorted(between, spread)
        return self._flat[(row * len(SLOPE_SPREADS) + level) * self._ratios + place]


def _smoothed_derivatives(values: NDArray[np.float32]) -> NDArray[np.float32]:
    # The derivatives along the last axis in the mean over normal laws, one after the other.
    beyond = round(SLOPE_BEYOND / SLOPE_STEP)
    padded = np.pad(values, [(0, 0), (0, 0), (beyond, beyond)], mode="edge")
    size = padded.shape[-1]
    frequency = 2 * np.pi * fft.rfftfreq(size, SLOPE_STEP)
    factors = 1j * frequency * np.exp(-(np.outer(SLOPE_SPREADS, frequency) ** 2) / 2)
    waves = fft.rfft(padded)
    found = [fft.irfft(waves * factor, size) for factor in factors.astype(np.complex64)]
    return np.array(found)[..., beyond:-beyond]


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
    # Logs of life over age at which tables are made, for each row.
    ratio = np.arange(LEAST_RATIO, GREATEST_RATIO, step)
    return np.broadcast_to(ratio, (len(seen.grade), len(ratio)))


@lru_cache(maxsize=2)
def log_chance_table(path: WearPath) -> GradeTable:
    """Return the log chances of grades along a path.

    Parameters
    ----------
    path : WearPath
        The path.

    Returns
    -------
    GradeTable
        The same whenever it is asked for.
    """
    return GradeTable(path)


@lru_cache(maxsize=2)
def slope_table(path: WearPath) -> SlopeTable:
    """Return how the log chances of grades move with a path.

    Parameters
    ----------
    path : WearPath
        The path.

    Returns
    -------
    SlopeTable
        The same whenever it is asked for.
    """
    return SlopeTable(path)
