"""Spreads freed of a bias: coefficients fitted to the same lives make them look smaller than they
are.

With thirty-odd coefficients and a few dozen decks the most probable spread between decks is a fifth
too small. Restricted maximum likelihood (Patterson & Thompson 1971) mends that in linear models;
here the coefficients are integrated out by Laplace's method: half the log volume of their posterior
joins the log posterior of the two spreads.
"""

from dataclasses import replace
from typing import NamedTuple

import numpy as np

from reminders.forecast.arrays import Floats
from reminders.forecast.posterior_mode import (
    LogPosterior,
    PosteriorMode,
    find_posterior_mode,
    newton_direction,
)

REML_ROUNDS = 8
# of the log posterior: what is left to gain once the spreads are within a fifth of their own doubt
SMALL_GAIN = 0.04
SMALL_MOVE = 0.02  # of a log spread: windows move by a fiftieth of their width at most
DIFFERENCE_STEP = 0.05  # of a log spread, for differences: far above what the quadrature wobbles
MAX_CORRECTION = 0.5  # a correction beyond this would not be one
MAX_HALVINGS = 5
# with that many the bias is below one in a hundred and not worth its time
MAX_CORRECTED_DECKS = 3_000


class _Ridge(NamedTuple):
    # The coefficients most probable at two spreads, and the log posterior of these spreads with
    # the coefficients integrated out.
    mode: PosteriorMode
    marginal: float

    @property
    def along(self) -> Floats:
        # How the coefficients follow the two log spreads (implicit function theorem).
        covariance = self.mode.covariance[:-2, :-2]
        return np.vstack([covariance @ self.mode.hessian[:-2, -2:], np.eye(2)])

    @property
    def information(self) -> Floats:
        # Of the two log spreads, the coefficients following along.
        return np.asarray(-(self.mode.hessian[-2:] @ self.along))


def _coefficient_log_volume(problem: LogPosterior, hessian: Floats) -> float:
    # Half the log volume of the coefficients' posterior, the spreads held fixed.
    covariance = replace(problem, are_spreads_held=True).covariance(hessian)
    return 0.5 * float(np.linalg.slogdet(covariance)[1])


def _maximise_coefficients(problem: LogPosterior, theta: Floats) -> _Ridge:
    mode = find_posterior_mode(replace(problem, are_spreads_held=True), theta)
    return _Ridge(mode, mode.value + _coefficient_log_volume(problem, mode.hessian))


def _marginal_gradient(problem: LogPosterior, here: _Ridge) -> Floats:
    # By the two log spreads; the log volume by differences, the coefficients following along.
    theta = here.mode.theta
    ends = [
        [
            _coefficient_log_volume(problem, problem.log_posterior(theta + step * way)[2])
            for step in (DIFFERENCE_STEP, -DIFFERENCE_STEP)
        ]
        for way in here.along.T
    ]
    slopes = np.array([(up - down) / (2 * DIFFERENCE_STEP) for up, down in ends])
    return here.mode.gradient @ here.along + slopes


def _step_up(problem: LogPosterior, here: _Ridge, move: Floats) -> _Ridge | None:
    # A step is halved until the marginal is no lower; None where no part of it does that.
    for halving in range(MAX_HALVINGS):
        there = _maximise_coefficients(problem, here.mode.theta + here.along @ move / 2**halving)
        if there.mode.converged and there.marginal >= here.marginal:
            return there
    return None


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
        The spreads moved to and the coefficients most probable there, with their own covariance;
        the same as `best` if there is nothing to mend.
    """
    if not problem.deck_effect or decks > MAX_CORRECTED_DECKS:
        return best
    here = _maximise_coefficients(problem, best.theta)
    if not here.mode.converged:
        return replace(best, converged=False)
    settled = False
    for _ in range(REML_ROUNDS):
        slope = _marginal_gradient(problem, here)
        move = newton_direction(here.information, slope)
        length = float(np.abs(move).max())
        settled = float(slope @ move) < SMALL_GAIN or length < SMALL_MOVE
        there = _step_up(problem, here, move * min(1.0, MAX_CORRECTION / max(length, 1e-9)))
        if there is None:
            break
        here = there
        if settled:
            break
    # The doubt about the spreads is that of the maximum. Nothing reads how they go along with the
    # coefficients.
    covariance = here.mode.covariance.copy()
    covariance[-2:, -2:] = best.covariance[-2:, -2:]
    return replace(
        best,
        theta=here.mode.theta,
        covariance=covariance,
        converged=best.converged and here.mode.converged and settled,
    )
