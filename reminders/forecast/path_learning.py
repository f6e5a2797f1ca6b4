"""Learning the path of wear: the most probable one given the grades and what is believed of the
lives."""

import numpy as np
import scipy
from scipy.special import ndtr

from reminders.forecast.arrays import Floats
from reminders.forecast.graded_lives import GradeLog, between_edges
from reminders.forecast.priors import GRADER_OFFSET_SD, PATH_PRIORS, PUBLISHED_PATH
from reminders.forecast.wear_path import PATH_NAMES, WearPath

MAX_PATH_STEPS = 60
PATH_TOLERANCE = 1e-8  # of the value
FARTHEST_SDS = 4.0  # from the prior's mean: beyond it a parameter is an accident
LEAST_CHANCE = 1e-300


def learn_path(
    log: GradeLog, mean: Floats, spread: Floats, start: WearPath = PUBLISHED_PATH
) -> WearPath:
    """Return the most probable path, each life averaged over what is believed of it.

    Parameters
    ----------
    log : GradeLog
        Grades of n coats.
    mean, spread : ndarray, shape (n,)
        Of log life, before the grades of the coat itself.
    start : WearPath
        Where to start; an earlier path saves steps.

    Returns
    -------
    WearPath
        The path, with an offset for each grader of the crew.

    Notes
    -----
    The log posterior of the path is the sum over coats of the log of the average, over lives, of
    the chance of all grades; its slope is the average slope, lives weighed by their chance given
    the grades (Fisher's identity). Coats of one deck count as strangers here.
    """
    by_crew = log.seen.grader[(log.seen.grader >= 0) & ~log.seen.by_client]
    keys = np.unique(by_crew)
    size = len(PATH_NAMES)
    offsets = start.offsets(keys, np.zeros(len(keys), dtype=bool))
    means = np.concatenate([[prior.mean for prior in PATH_PRIORS], np.zeros(len(keys))])
    sds = np.concatenate(
        [[prior.sd for prior in PATH_PRIORS], np.full(len(keys), GRADER_OFFSET_SD)]
    )
    edges = log.life_edges()
    life = between_edges(edges)
    before = np.log(_step_chances(edges, mean, spread))

    def cost(given: Floats) -> tuple[float, Floats]:
        path = WearPath(given[:size], keys, given[size:])
        logs = log.log_chances(path, life) + before
        top = logs.max(axis=1, keepdims=True)
        weight = np.exp(logs - top)
        total = weight.sum(axis=1, keepdims=True)
        slope = path.slopes(
            log.seen, log.middle_log_age - life[log.coat], (weight / total)[log.coat]
        )
        away = (given - means) / sds
        value = float((top + np.log(total)).sum()) - 0.5 * float(away @ away)
        return -value, -(slope - away / sds)

    found = scipy.optimize.minimize(
        cost,
        np.concatenate([start.parameters, offsets]),
        jac=True,
        method="L-BFGS-B",
        bounds=np.column_stack([means - FARTHEST_SDS * sds, means + FARTHEST_SDS * sds]),
        options={"maxiter": MAX_PATH_STEPS, "ftol": PATH_TOLERANCE},
    )
    return WearPath(found.x[:size], keys, found.x[size:])


def _step_chances(edges: Floats, mean: Floats, spread: Floats) -> Floats:
    z = (edges - mean[:, None]) / spread[:, None]
    none = np.zeros((len(z), 1))
    below = np.column_stack([none, ndtr(z), none + 1])
    return np.maximum(np.diff(below, axis=1), LEAST_CHANCE)
