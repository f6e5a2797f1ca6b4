"""Spreads freed of a bias: coefficients fitted to the same lives make them look smaller than they are.

With thirty-odd coefficients and a few dozen decks the most probable spread between decks is a fifth too small.
Restricted maximum likelihood (Patterson & Thompson 1971) mends that in linear models; here the coefficients are
integrated out by Laplace's method: half the log volume of their posterior joins the log posterior of the two spreads.
"""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from reminders.forecast.newton import Maximum, Problem, inverse

Floats = NDArray[np.float64]

ROUNDS = 2  # the second moves the spreads by less than one in a hundred
STEP = 0.05  # of a log spread, for differences: far above what the quadrature wobbles
LONGEST = 0.5  # a correction beyond this would not be one
ENOUGH_DECKS = 3_000  # with that many the bias is below one in a hundred and not worth its time


def _log_volume(problem: Problem, theta: Floats) -> float:
    # Half the log volume of the coefficients' posterior, the spreads held fixed.
    size = len(theta) - 2
    sign, value = np.linalg.slogdet(-problem.objective(theta)[2][:size, :size])
    return -0.5 * float(value) if sign > 0 else float("nan")


def _pull(problem: Problem, theta: Floats, covariance: Floats) -> Floats:
    # Slope of the log volume by the two log spreads, the coefficients following along.
    along = covariance[:, -2:] @ np.linalg.inv(covariance[-2:, -2:])
    ends = [(_log_volume(problem, theta + STEP * way), _log_volume(problem, theta - STEP * way)) for way in along.T]
    return np.array([(up - down) / (2 * STEP) for up, down in ends])


def restrict(problem: Problem, best: Maximum, decks: int) -> Maximum:
    """Move a maximum to where the two spreads are most probable whatever the coefficients are.

    Parameters
    ----------
    problem : Problem
        Lives and priors, with a deck effect.
    best : Maximum
        Where coefficients and spreads together are most probable.
    decks : int
        Decks in the book.

    Returns
    -------
    Maximum
        The point moved to; the same if there is nothing to mend or no way to.
    """
    if not problem.deck_effect or decks > ENOUGH_DECKS:
        return best
    theta, slope, covariance = best.theta, np.zeros(len(best.theta)), best.covariance
    for _ in range(ROUNDS):
        slope[-2:] += _pull(problem, theta, covariance)
        move = covariance @ slope
        if not np.isfinite(move).all():
            return best
        theta = theta + move * min(1.0, LONGEST / max(float(np.abs(move[-2:]).max()), LONGEST))
        _, slope, hessian = problem.objective(theta)
        covariance = inverse(-hessian)
    # The doubt about the spreads is that of the maximum: away from it the surface may bend the wrong way. Nothing reads
    # how they go along with the coefficients, and leaving that out keeps the matrix one of covariances.
    covariance[-2:, -2:] = best.covariance[-2:, -2:]
    covariance[:-2, -2:] = covariance[-2:, :-2] = 0.0
    return replace(best, theta=theta, covariance=covariance)
