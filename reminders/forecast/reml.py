"""Spreads freed of a bias: coefficients fitted to the same lives make them look smaller than they
are.

With thirty-odd coefficients and a few dozen decks the most probable spread between decks is a fifth
too small. Restricted maximum likelihood (Patterson & Thompson 1971) mends that in linear models;
here the coefficients are integrated out by Laplace's method: half the log volume of their posterior
joins the log posterior of the two spreads.
"""

from dataclasses import replace

import numpy as np

from reminders.forecast.arrays import Floats
from reminders.forecast.posterior_mode import (
    LogPosterior,
    PosteriorMode,
    covariance_from_information,
)

REML_ROUNDS = 2  # the second moves the spreads by less than one in a hundred
DIFFERENCE_STEP = 0.05  # of a log spread, for differences: far above what the quadrature wobbles
MAX_CORRECTION = 0.5  # a correction beyond this would not be one
# with that many the bias is below one in a hundred and not worth its time
MAX_CORRECTED_DECKS = 3_000


def _laplace_log_volume(problem: LogPosterior, theta: Floats) -> float:
    # Half the log volume of the coefficients' posterior, the spreads held fixed.
    size = len(theta) - 2
    sign, value = np.linalg.slogdet(-problem.log_posterior(theta)[2][:size, :size])
    return -0.5 * float(value) if sign > 0 else float("nan")


def _log_volume_gradient(problem: LogPosterior, theta: Floats, covariance: Floats) -> Floats:
    # Slope of the log volume by the two log spreads, the coefficients following along.
    along = covariance[:, -2:] @ np.linalg.inv(covariance[-2:, -2:])
    ends = [
        (
            _laplace_log_volume(problem, theta + DIFFERENCE_STEP * way),
            _laplace_log_volume(problem, theta - DIFFERENCE_STEP * way),
        )
        for way in along.T
    ]
    return np.array([(up - down) / (2 * DIFFERENCE_STEP) for up, down in ends])


def apply_reml_correction(problem: LogPosterior, best: PosteriorMode, decks: int) -> PosteriorMode:
    """Move a maximum to where the two spreads are most probable whatever the coefficients are.

    Parameters
    ----------
    problem : LogPosterior
        Lives and priors, with a deck effect.
    best : PosteriorMode
        Where coefficients and spreads together are most probable.
    decks : int
        Decks in the book.

    Returns
    -------
    PosteriorMode
        The point moved to; the same if there is nothing to mend or no way to.
    """
    if not problem.deck_effect or decks > MAX_CORRECTED_DECKS:
        return best
    theta = best.theta
    slope = np.zeros(len(best.theta))
    covariance = best.covariance
    for _ in range(REML_ROUNDS):
        slope[-2:] += _log_volume_gradient(problem, theta, covariance)
        move = covariance @ slope
        if not np.isfinite(move).all():
            return best
        theta = theta + move * min(
            1.0, MAX_CORRECTION / max(float(np.abs(move[-2:]).max()), MAX_CORRECTION)
        )
        _, slope, hessian = problem.log_posterior(theta)
        covariance = covariance_from_information(-hessian)
    # The doubt about the spreads is that of the maximum: away from it the surface may bend the
    # wrong way. Nothing reads how they go along with the coefficients, and leaving that out keeps
    # the matrix one of covariances.
    covariance[-2:, -2:] = best.covariance[-2:, -2:]
    covariance[:-2, -2:] = covariance[-2:, :-2] = 0.0
    return replace(best, theta=theta, covariance=covariance)
