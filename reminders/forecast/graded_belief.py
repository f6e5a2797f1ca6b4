"""What is believed of a log life once the grades of the coat itself have been read along the path
of wear."""

import numpy as np
from scipy.special import ndtri

from reminders.forecast.arrays import Booleans, Floats, Integers
from reminders.forecast.clock import SeasonalClock
from reminders.forecast.coats import Coats
from reminders.forecast.grade_scale import GRADE_COUNT
from reminders.forecast.grade_table import LIFE_STEP, LifeGrid
from reminders.forecast.graded_lives import GradeLog
from reminders.forecast.wear_path import GradesSeen, WearPath

# How far from its mean a belief is read, in its own standard deviations: so far that a deck that
# wears many times slower than was thought is seen.
BELIEF_SDS = 6.0
LEAST_SPREAD = 0.02  # of log life: nothing is known better
WORN_NODES = 40


def grades_of_running_coats(
    coats: Coats, clock: SeasonalClock, start: Floats
) -> tuple[GradeLog, Integers]:
    """Return the grades that came with the coats.

    Parameters
    ----------
    coats : Coats
        The coats.
    clock : SeasonalClock
        Their clock.
    start : ndarray, shape (n,)
        Its readings when they were put on.

    Returns
    -------
    log : GradeLog
        Visits at an age above 0; a coat of which only the span is known counts from its middle.
    rows : ndarray of int, shape (n,)
        Rows of the coats that have such visits.
    """
    age = np.ascontiguousarray((clock.reading(coats.graded_on.T) - start).T).ravel()
    visit = np.flatnonzero(age > 0)
    row = visit // coats.graded_on.shape[1]
    is_graded = np.zeros(len(coats), dtype=bool)
    is_graded[row] = True
    coat = np.cumsum(is_graded)[row] - 1
    seen = GradesSeen(
        np.minimum(coats.grades.ravel()[visit].astype(np.int64), GRADE_COUNT - 1),
        coats.is_film[row],
        coats.graded_by_client.ravel()[visit] > 0,
        coats.graders.ravel()[visit].astype(np.int64),
    )
    log = GradeLog(coat, np.log(age[visit])[:, None], np.zeros(len(visit), dtype=bool), seen)
    return log, np.flatnonzero(is_graded)


def moments_after_grades(
    path: WearPath,
    log: GradeLog,
    mean: Floats,
    spread: Floats,
    slope: Floats,
) -> tuple[Floats, Floats]:
    """Return mean and standard deviation of log life after the grades.

    Parameters
    ----------
    path : WearPath
        The path.
    log : GradeLog
        Grades of n coats.
    mean, spread : ndarray, shape (n,)
        The same before.
    slope : ndarray, shape (n, len(PATH_NAMES) + g)
        How the mean before moves with the path; of no width for a path without doubt.

    Returns
    -------
    mean, spread : ndarray, shape (n,)
        Of the law weighed by the chance of the grades, which is close to normal.

    Notes
    -----
    The doubt about the path joins by the law of total variance. Were the path known, the spread
    before would lack what follows the path and the grades would move the mean m with it: by the
    covariance of log life and log chance, and by what the mean before moves, times the share of
    its variance that the grades leave.
    """
    apart = path.variances(slope) if path.is_doubted else 0.0
    own = np.sqrt(np.maximum(spread**2 - apart, LIFE_STEP**2))
    grid = LifeGrid.around(mean, BELIEF_SDS * own, LIFE_STEP)
    weight = log.tabled_log_chances(path, grid)
    weight += grid.log_normal(mean, own)
    weight -= weight.max(axis=1, keepdims=True)
    after, variance = grid.moments(np.exp(weight, out=weight))
    spread_after = np.maximum(np.sqrt(variance), LEAST_SPREAD)
    if not path.is_doubted:
        return after, spread_after
    left = variance / own**2
    moved = log.tabled_covariances(path, after, spread_after) + left[:, None] * slope
    return after, np.sqrt(spread_after**2 + path.variances(moved))


def chances_found_worn(
    path: WearPath, is_film: Booleans, age: Floats, belief: tuple[Floats, Floats]
) -> Floats:
    """Return the chance that a visit finds a coat worn, whoever of the crew grades.

    Parameters
    ----------
    path : WearPath
        The path.
    is_film : ndarray of bool, shape (n,)
        Whether the finish forms a film.
    age : ndarray, shape (n,)
        Age at the visit.
    belief : (ndarray, ndarray), shape (n,)
        Mean and standard deviation of log life after all grades.

    Returns
    -------
    ndarray, shape (n,)
        Chances.
    """
    mean, spread = belief
    shares = (np.arange(WORN_NODES) + 0.5) / WORN_NODES
    x = (np.log(age) - mean)[:, None] - spread[:, None] * ndtri(shares)
    return np.asarray(path.worn_chances(is_film, x).mean(axis=1))
