"""The most probable coefficients: lives sorted by deck, and damped Newton steps up the log
posterior."""

from dataclasses import dataclass

import numpy as np
from scipy.linalg import LinAlgError, cho_factor, cho_solve

from reminders.forecast.arrays import Floats, Integers
from reminders.forecast.frailty import (
    QUADRATURE_NODES,
    DeckRows,
    ValueGradientHessian,
    deck_likelihood,
    single_coat_likelihood,
)
from reminders.forecast.graded_lives import ObservedLives

MAX_NEWTON_STEPS = 60
NEWTON_TOLERANCE = 1e-10
ROUGH_TOLERANCE = 1e-5
FOLLOWING_TOLERANCE = 1e-3  # three hundredths of their own doubt, and the step is taken
QUADRATURE_SLACK = 1e-6  # of the value: what the quadrature may wobble
# a step that must be made smaller than this: value and slope disagree, and going on is a crawl
MAX_STEP_HALVINGS = 6
LEAST_INFORMATION = 1e-8  # without a prior: below it nothing is known
MAX_LOG_SPREAD = 7.0  # a spread beyond e^±7 is a numerical accident


@dataclass(frozen=True, eq=False)
class LogPosterior:
    """Lives and priors, prepared for the maximiser.

    Parameters
    ----------
    groups : list of DeckRows
        Decks by the number of their coats; a row alone needs no quadrature.
    mean : ndarray
        Prior means of coefficients, log sigma, log omega.
    precision : ndarray
        Inverse of their covariance; zeros for no prior.
    deck_effect : bool
        Whether decks have a pace of their own.
    nodes : int
        Quadrature nodes a deck.
    are_spreads_held : bool
        Whether log sigma and log omega stay where they are.
    """

    groups: list[DeckRows]
    mean: Floats
    precision: Floats
    deck_effect: bool = True
    nodes: int = QUADRATURE_NODES
    are_spreads_held: bool = False

    @property
    def held(self) -> int:
        """How many of the last two parameters stay where they are; omega does without decks."""
        return 2 if self.are_spreads_held else int(not self.deck_effect)

    @property
    def tolerance(self) -> float:
        """How small twice the expected gain must be: looser where the quadrature is rougher, and
        looser still where the coefficients only follow the spreads."""
        rough = any(rows.seen.is_doubted and rows.x.shape[1] > 1 for rows in self.groups)
        if not rough:
            return NEWTON_TOLERANCE
        return FOLLOWING_TOLERANCE if self.are_spreads_held else ROUGH_TOLERANCE

    def likelihood(self, theta: Floats) -> ValueGradientHessian:
        """Return the log-likelihood, its gradient and its Hessian.

        Parameters
        ----------
        theta : ndarray
            Coefficients, log sigma, log omega.

        Returns
        -------
        value : float
            Log-likelihood.
        gradient : ndarray
            By theta.
        hessian : ndarray
            By theta twice.
        """
        size = len(theta)
        total: ValueGradientHessian = (0.0, np.zeros(size), np.zeros((size, size)))
        at = theta if self.deck_effect else np.append(theta[:-1], -np.inf)
        for rows in self.groups:
            if rows.x.shape[1] == 1:
                more = single_coat_likelihood(rows, at)
            else:
                more = deck_likelihood(rows, theta, self.nodes)
            total = (total[0] + more[0], total[1] + more[1], total[2] + more[2])
        return total

    def log_posterior(self, theta: Floats) -> ValueGradientHessian:
        """Return the log posterior up to a constant, its gradient and its Hessian.

        Parameters
        ----------
        theta : ndarray
            Coefficients, log sigma, log omega.

        Returns
        -------
        value : float
            Log posterior.
        gradient : ndarray
            By theta.
        hessian : ndarray
            By theta twice.
        """
        value, gradient, hessian = self.likelihood(theta)
        away = theta - self.mean
        pull = self.precision @ away
        gradient = gradient - pull
        hessian = hessian - self.precision
        return value - 0.5 * float(away @ pull), gradient, hessian

    def covariance(self, hessian: Floats) -> Floats:
        """Return the covariance of what may move, that which is held counted as 1.

        Parameters
        ----------
        hessian : ndarray
            Of the log posterior, by theta twice.

        Returns
        -------
        ndarray
            Nowhere wider than the prior.
        """
        free = slice(len(hessian) - self.held)
        found = np.eye(len(hessian))
        found[free, free] = covariance_from_information(
            -hessian[free, free], self.precision[free, free]
        )
        return found


@dataclass(frozen=True, eq=False)
class NormalPrior:
    """What is held of the coefficients before any life is seen.

    Parameters
    ----------
    mean : ndarray
        Prior means of coefficients, log sigma, log omega.
    precision : ndarray
        Inverse of their covariance; zeros for no prior.
    """

    mean: Floats
    precision: Floats


def prepare_log_posterior(
    lives: ObservedLives,
    prior: NormalPrior,
    *,
    deck_effect: bool = True,
    misclassification: float = 0.0,
    nodes: int = QUADRATURE_NODES,
) -> LogPosterior:
    """Sort lives by deck and split decks with one coat from decks with more.

    Parameters
    ----------
    lives : CensoredLives or GradedLives
        The lives.
    prior : NormalPrior
        What is held beforehand.
    deck_effect : bool
        Whether decks have a pace of their own.
    misclassification : float
        Chance that a visit is graded on the wrong side of the limit.
    nodes : int
        Quadrature nodes a deck.

    Returns
    -------
    LogPosterior
        Ready for `find_posterior_mode`.
    """
    # A deck key below zero stands for no deck in particular.
    own = (
        np.arange(len(lives))
        if not deck_effect
        else np.where(lives.deck < 0, -1 - np.arange(len(lives)), lives.deck)
    )
    groups = [rows for _, rows in group_by_coat_count(lives, own, misclassification)]
    return LogPosterior(groups, prior.mean, prior.precision, deck_effect, nodes)


def group_by_coat_count(
    lives: ObservedLives,
    deck: Integers,
    misclassification: float,
) -> list[tuple[Integers, DeckRows]]:
    """Sort lives into decks, and decks by the number of their lives.

    Parameters
    ----------
    lives : CensoredLives or GradedLives
        The lives.
    deck : ndarray of int, shape (n,)
        The deck of each.
    misclassification : float
        Chance that a visit is graded on the wrong side of the limit.

    Returns
    -------
    list of (ndarray of int, Rows)
        Keys of the decks, and their rows.
    """
    order = np.argsort(deck, kind="stable")
    keys, start, counts = np.unique(deck[order], return_index=True, return_counts=True)
    x = np.column_stack([np.ones(len(lives)), lives.x])
    observed = lives.prepared(misclassification)
    is_dated = np.logical_and.reduceat(lives.is_start_known[order], start)
    groups = []
    for count, dated in sorted(set(zip(counts.tolist(), is_dated.tolist(), strict=True))):
        chosen = (counts == count) & (is_dated == dated)
        at = order[start[chosen][:, None] + np.arange(count)]
        seen = type(observed)(*(array[at] for array in observed))
        if dated:  # nothing to integrate over
            seen = seen.at_known_starts()
        groups.append((keys[chosen], DeckRows(x[at], seen, lives.weight[at])))
    return groups


@dataclass(frozen=True, eq=False)
class PosteriorMode:
    """Where the log posterior is greatest.

    Parameters
    ----------
    theta : ndarray
        Coefficients, log sigma, log omega.
    covariance : ndarray
        What the curvature there stands for.
    value : float
        Log posterior up to a constant.
    gradient, hessian : ndarray
        Its derivatives by theta there, those of what was held included.
    steps : int
        Newton steps.
    converged : bool
        Whether the last step was small and the surface bends down in every direction.
    """

    theta: Floats
    covariance: Floats
    value: float
    gradient: Floats
    hessian: Floats
    steps: int
    converged: bool


def newton_direction(information: Floats, gradient: Floats) -> Floats:
    # Newton's direction; a growing ridge where the surface bends the wrong way.
    ridge = 0.0
    scale = max(float(np.abs(np.diagonal(information)).max()), 1e-8)
    for _ in range(40):
        try:
            return cho_solve(cho_factor(information + ridge * np.eye(len(gradient))), gradient)
        except (LinAlgError, ValueError):
            ridge = max(10 * ridge, 1e-8 * scale)
    return gradient / scale


def _limit_step(step: Floats) -> Floats:
    # Log spreads move by at most one a step: a large leap there leads into flat land.
    return step / max(1.0, float(np.abs(step[-2:]).max()))


def find_posterior_mode(problem: LogPosterior, start: Floats) -> PosteriorMode:
    """Climb to the maximum by damped Newton steps.

    Parameters
    ----------
    problem : LogPosterior
        Lives and priors.
    start : ndarray
        Where to start.

    Returns
    -------
    PosteriorMode
        The best point found, also if the climb did not end.
    """
    theta = start
    now = problem.log_posterior(start)
    free = slice(len(start) - problem.held)
    steps = 0
    converged = False
    while steps < MAX_NEWTON_STEPS and not converged:
        steps += 1
        step = np.zeros(len(start))
        step[free] = newton_direction(-now[2][free, free], now[1][free])
        gain = float(now[1] @ step)
        converged = gain < problem.tolerance
        moved = _line_search(problem, theta, now[0], _limit_step(step))
        if moved is None:  # no better point along the way: as good as it gets in this arithmetic
            converged = converged or gain < max(1e-4, problem.tolerance)
            break
        theta, now = moved
    converged = converged and is_positive_definite(-now[2][free, free])
    return PosteriorMode(theta, problem.covariance(now[2]), *now, steps, converged)


def _line_search(
    problem: LogPosterior, theta: Floats, value: float, step: Floats
) -> tuple[Floats, ValueGradientHessian] | None:
    for halving in range(MAX_STEP_HALVINGS):
        there = theta + step / 2**halving
        if np.abs(there[-2:]).max() < MAX_LOG_SPREAD:
            found = problem.log_posterior(there)
            if (
                np.isfinite(found[0])
                and np.isfinite(found[2]).all()
                and found[0] >= value - QUADRATURE_SLACK * abs(value)
            ):
                return there, found
    return None


def is_positive_definite(information: Floats) -> bool:
    """Return whether the surface bends down in every direction.

    Parameters
    ----------
    information : ndarray, shape (p, p)
        Negative Hessian.

    Returns
    -------
    bool
        False also where it is not finite.
    """
    try:
        cho_factor(information)
    except (LinAlgError, ValueError):
        return False
    return True


def covariance_from_information(information: Floats, precision: Floats) -> Floats:
    """Return the covariance that a curvature stands for, nowhere wider than the prior.

    Parameters
    ----------
    information : ndarray, shape (p, p)
        Negative Hessian of the log posterior.
    precision : ndarray, shape (p, p)
        The prior's part of it; zeros for no prior.

    Returns
    -------
    ndarray, shape (p, p)
        The inverse of the information.

    Notes
    -----
    Lives known to an interval take doubt away in every direction, for their likelihood is
    log-concave in the coefficients (Prékopa 1973). A visit that may be misread is not, nor are the
    spreads: there it may seem to add doubt. Such a direction counts as one that the lives tell
    nothing about: in units of the prior's spread the likelihood's part of the information is
    U diag(λ) U', and the negative λ are taken as nought. Without a prior there is nothing to fall
    back on, and such a direction gets a wide, finite variance.
    """
    try:
        root = np.linalg.cholesky(precision)
    except np.linalg.LinAlgError:
        values, vectors = np.linalg.eigh((information + information.T) / 2)
        return np.asarray((vectors / np.maximum(values, LEAST_INFORMATION)) @ vectors.T)
    unit = np.asarray(np.linalg.inv(root))
    scaled = unit @ information @ unit.T
    values, vectors = np.linalg.eigh((scaled + scaled.T) / 2)
    back = unit.T @ vectors
    return np.asarray((back / np.maximum(values, 1.0)) @ back.T)
