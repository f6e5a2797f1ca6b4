"""How sure a learned path of wear is, and how the coefficients of life go along with it."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import scipy

from reminders.forecast.arrays import Floats
from reminders.forecast.graded_lives import GradedLives
from reminders.forecast.path_learning import PathLikelihood, path_prior
from reminders.forecast.posterior import Posterior
from reminders.forecast.posterior_mode import (
    NormalPrior,
    covariance_from_information,
    prepare_log_posterior,
)
from reminders.forecast.wear_path import WearPath

# For differences of slopes: of parameters and offsets of the path.
PATH_STEP = 1e-4
COEFFICIENT_STEP = 1e-2  # above what the quadrature wobbles


def with_path_doubt(
    belief: Posterior,
    path: WearPath,
    prior: Posterior,
    taught: PathLikelihood,
    share: float,
    lives_along: Callable[[WearPath], GradedLives],
) -> Posterior:
    """Return a belief with the path that it was learned along and the doubt of the two together.

    Parameters
    ----------
    belief : Posterior
        Coefficients as they were learned along the path, as if that were known.
    path : WearPath
        The most probable one.
    prior : Posterior
        What was believed of the coefficients before.
    taught : PathLikelihood
        Grades that taught the path.
    share : float
        Of all coats of the book those that taught the path: these stand for all.
    lives_along : callable
        Gives all lives as grades tell of them along a path.

    Returns
    -------
    Posterior
        Means as they were, covariances of coefficients and path each with the other in doubt.

    Notes
    -----
    Coefficients and path are normal together around their most probable values. The information
    is in three parts: the inverse of the covariance of the coefficients; of the path by
    differences of its slope; of both by how the slope of the coefficients moves with the path.
    Nowhere is the whole wider than the priors.
    """
    size = len(belief.beta)
    sds = path_prior(path)[1]
    both = _cross_information(belief, path, lives_along)
    alone = _path_information(taught, path) / share + np.diag(sds**-2.0)
    found = covariance_from_information(
        np.block([[np.linalg.inv(belief.beta_covariance), both], [both.T, alone]]),
        scipy.linalg.block_diag(np.linalg.inv(prior.beta_covariance), np.diag(sds**-2.0)),
    )
    covariance = belief.covariance.copy()
    covariance[:size, :size] = found[:size, :size]
    doubt = found[size:, size:]
    slope = np.asarray(np.linalg.solve(doubt, found[size:, :size]).T, dtype=np.float64)
    doubted = replace(path, covariance=doubt, coefficient_slope=slope)
    return replace(belief, covariance=covariance, path=doubted)


def _path_information(taught: PathLikelihood, path: WearPath) -> Floats:
    # Of the grades about parameters and offsets, lives averaged over.
    here = taught.at(path)[1]
    bend = np.array([here - taught.at(moved)[1] for moved in _near_paths(path, PATH_STEP)])
    return np.asarray((bend + bend.T) / (2 * PATH_STEP))


def _near_paths(path: WearPath, step: float) -> list[WearPath]:
    return [path.with_numbers(path.numbers + move) for move in step * np.eye(len(path.numbers))]


def _cross_information(
    belief: Posterior, path: WearPath, lives_along: Callable[[WearPath], GradedLives]
) -> Floats:
    # Rows of coefficients, columns of parameters and offsets.
    size = len(belief.mean)
    flat = NormalPrior(belief.mean, np.zeros((size, size)))

    def slope(along: WearPath) -> Floats:
        return prepare_log_posterior(lives_along(along), flat).likelihood(belief.mean)[1][:-2]

    here = slope(path)
    found = [here - slope(moved) for moved in _near_paths(path, COEFFICIENT_STEP)]
    return np.array(found).T / COEFFICIENT_STEP
