"""Learning the path of wear: the most probable one given the grades and what is believed of the
lives."""

from typing import NamedTuple

import numpy as np
import scipy
from scipy.special import ndtr

from reminders.forecast.arrays import Floats
from reminders.forecast.graded_lives import GradeLog, between_edges
from reminders.forecast.priors import PATH_PRIORS, PUBLISHED_PATH
from reminders.forecast.wear_path import GRADER_OFFSET_SD, WearPath

MAX_PATH_STEPS = 60
PATH_TOLERANCE = 1e-8  # of the value
FARTHEST_SDS = 4.0  # from the prior's mean: beyond it a parameter is an accident
LEAST_CHANCE = 1e-300


class PathLikelihood(NamedTuple):
    """The likelihood of a path, each life averaged over what is believed of it. Coats of one deck
    count as strangers.

    Parameters
    ----------
    log : GradeLog
        Grades of n coats.
    life : ndarray, shape (n, c)
        Logs of clock months at which lives are looked at.
    before : ndarray, shape (n, c)
        Logs of their chances before the grades.
    """

    log: GradeLog
    life: Floats
    before: Floats

    def at(self, path: WearPath) -> tuple[float, Floats]:
        """Return the log-likelihood of a path and its slope.

        Parameters
        ----------
        path : WearPath
            The path.

        Returns
        -------
        value : float
            Of all grades.
        slope : ndarray, shape (len(PATH_NAMES) + g,)
            The average slope, lives weighed by their chance given the grades (Fisher's identity).
        """
        logs = self.log.log_chances(path, self.life) + self.before
        top = logs.max(axis=1, keepdims=True)
        weight = np.exp(logs - top)
        total = weight.sum(axis=1, keepdims=True)
        value = float((top + np.log(total)).sum())
        return value, self.log.slopes(path, self.life, weight / total).sum(axis=0)


def average_over_lives(log: GradeLog, mean: Floats, spread: Floats) -> PathLikelihood:
    """Look at what is believed of lives where grades tell them apart.

    Parameters
    ----------
    log : GradeLog
        Grades of n coats.
    mean, spread : ndarray, shape (n,)
        Of log life, before the grades of the coat itself.

    Returns
    -------
    PathLikelihood
        For any path.
    """
    edges = log.life_edges()
    return PathLikelihood(log, between_edges(edges), np.log(_step_chances(edges, mean, spread)))


def path_prior(path: WearPath) -> tuple[Floats, Floats]:
    """Return what is believed of the numbers of a path before any grade.

    Parameters
    ----------
    path : WearPath
        A path for the same graders.

    Returns
    -------
    mean, sd : ndarray, shape (len(PATH_NAMES) + g,)
        Means and standard deviations.
    """
    known = [(prior.mean, prior.sd) for prior in PATH_PRIORS]
    mean, sd = np.array(known + [(0.0, GRADER_OFFSET_SD)] * len(path.grader_keys)).T
    return mean, sd


def learn_path(likelihood: PathLikelihood, start: WearPath = PUBLISHED_PATH) -> WearPath:
    """Return the most probable path.

    Parameters
    ----------
    likelihood : PathLikelihood
        What grades tell.
    start : WearPath
        Where to start; an earlier path saves steps.

    Returns
    -------
    WearPath
        The path, with an offset for each grader of the crew.
    """
    seen = likelihood.log.seen
    keys = np.unique(seen.grader[(seen.grader >= 0) & ~seen.by_client])
    offsets = start.offsets(keys, np.zeros(len(keys), dtype=bool))
    first = WearPath(start.parameters, keys, offsets)
    mean, sd = path_prior(first)

    def cost(numbers: Floats) -> tuple[float, Floats]:
        value, slope = likelihood.at(first.with_numbers(numbers))
        away = (numbers - mean) / sd
        return 0.5 * float(away @ away) - value, away / sd - slope

    found = scipy.optimize.minimize(
        cost,
        first.numbers,
        jac=True,
        method="L-BFGS-B",
        bounds=np.column_stack([mean - FARTHEST_SDS * sd, mean + FARTHEST_SDS * sd]),
        options={"maxiter": MAX_PATH_STEPS, "ftol": PATH_TOLERANCE},
    )
    return first.with_numbers(found.x)


def _step_chances(edges: Floats, mean: Floats, spread: Floats) -> Floats:
    z = (edges - mean[:, None]) / spread[:, None]
    none = np.zeros((len(z), 1))
    below = np.column_stack([none, ndtr(z), none + 1])
    return np.maximum(np.diff(below, axis=1), LEAST_CHANCE)
