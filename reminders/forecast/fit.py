"""Learning from visits: the most probable coefficients given priors and lives, and how sure they are."""

import hashlib
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import LinAlgError, cho_factor, cho_solve

from reminders.forecast.deck_effect import NODES, Rows, Triple, alone, paces, together
from reminders.forecast.intervals import Lives
from reminders.forecast.likelihood import Observed, observe
from reminders.forecast.posterior import Posterior
from reminders.forecast.priors import PRIOR

Floats = NDArray[np.float64]

MISGRADE = 0.01  # judgement: one visit in a hundred is graded on the wrong side of the limit
STEPS = 60
TOLERANCE = 1e-10
SLACK = 1e-6  # of the value: what the quadrature may wobble
LOG_SPREAD_BOUND = 7.0  # a spread beyond e^±7 is a numerical accident


@dataclass(frozen=True, eq=False)
class Fit:
    """A posterior and how it came about.

    Parameters
    ----------
    posterior : Posterior
        What is believed.
    log_likelihood : float
        Of the lives, without the priors.
    coats : int
        Coats that were learned from.
    decks : int
        Decks that they were on.
    steps : int
        Newton steps.
    converged : bool
        Whether the maximum was reached; if not, the posterior is the best found.
    note : str
        What a person should know, in plain words.
    """

    posterior: Posterior
    log_likelihood: float
    coats: int
    decks: int
    steps: int
    converged: bool
    note: str

    @property
    def version(self) -> str:
        """Equal data and priors give an equal version."""
        return self.posterior.version

    def to_dict(self) -> dict[str, Any]:
        """Return the fit as plain values, fit for JSON.

        Returns
        -------
        dict
            What `from_dict` reads.
        """
        plain = {name: getattr(self, name) for name in self.__dataclass_fields__}
        return plain | {"posterior": self.posterior.to_dict()}

    @classmethod
    def from_dict(cls, stored: dict[str, Any]) -> "Fit":
        """Return the fit that `to_dict` wrote.

        Parameters
        ----------
        stored : dict
            What `to_dict` returned.

        Returns
        -------
        Fit
            The same fit.
        """
        return cls(**(stored | {"posterior": Posterior.from_dict(stored["posterior"])}))


@dataclass(frozen=True, eq=False)
class Problem:
    """Lives and priors, prepared for the maximiser.

    Parameters
    ----------
    groups : list of Rows
        Decks by the number of their coats; a row alone needs no quadrature.
    mean : ndarray
        Prior means of coefficients, log sigma, log omega.
    precision : ndarray
        Inverse of their covariance; zeros for no prior.
    deck_effect : bool
        Whether decks have a pace of their own.
    nodes : int
        Quadrature nodes a deck.
    """

    groups: list[Rows]
    mean: Floats
    precision: Floats
    deck_effect: bool = True
    nodes: int = NODES

    @property
    def tolerance(self) -> float:
        """How small twice the expected gain must be: looser where the quadrature is rougher."""
        rough = any(rows.seen.misread.any() and rows.x.shape[1] > 1 for rows in self.groups)
        return 1e-5 if rough else TOLERANCE

    def likelihood(self, theta: Floats) -> Triple:
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
        total: Triple = (0.0, np.zeros(size), np.zeros((size, size)))
        at = theta if self.deck_effect else np.append(theta[:-1], -np.inf)
        for rows in self.groups:
            one = rows.x.shape[1] == 1
            more = alone(rows, at) if one else together(rows, theta, self.nodes)
            total = (total[0] + more[0], total[1] + more[1], total[2] + more[2])
        return total

    def objective(self, theta: Floats) -> Triple:
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
        gradient, hessian = gradient - pull, hessian - self.precision
        if not self.deck_effect:  # omega plays no part: hold it where it is
            gradient[-1] = hessian[-1, :] = hessian[:, -1] = 0.0
            hessian[-1, -1] = -1.0
        return value - 0.5 * float(away @ pull), gradient, hessian


def prepare(
    lives: Lives,
    mean: Floats,
    precision: Floats,
    *,
    deck_effect: bool = True,
    misgrade: float = 0.0,
    nodes: int = NODES,
) -> Problem:
    """Sort lives by deck and split decks with one coat from decks with more.

    Parameters
    ----------
    lives : Lives
        The lives.
    mean : ndarray
        Prior means.
    precision : ndarray
        Prior precision.
    deck_effect : bool
        Whether decks have a pace of their own.
    misgrade : float
        Chance that a visit is graded on the wrong side of the limit.
    nodes : int
        Quadrature nodes a deck.

    Returns
    -------
    Problem
        Ready for `maximise`.
    """
    # A deck key below nought stands for no deck in particular.
    own = np.arange(len(lives)) if not deck_effect else np.where(lives.deck < 0, -1 - np.arange(len(lives)), lives.deck)
    groups = [rows for _, rows in group(lives, own, misgrade)]
    return Problem(groups, mean, precision, deck_effect, nodes)


def group(lives: Lives, deck: NDArray[np.int64], misgrade: float) -> list[tuple[NDArray[np.int64], Rows]]:
    """Sort lives into decks, and decks by the number of their lives.

    Parameters
    ----------
    lives : Lives
        The lives.
    deck : ndarray of int, shape (n,)
        The deck of each.
    misgrade : float
        Chance that a visit is graded on the wrong side of the limit.

    Returns
    -------
    list of (ndarray of int, Rows)
        Keys of the decks, and their rows.
    """
    order = np.argsort(deck, kind="stable")
    keys, start, counts = np.unique(deck[order], return_index=True, return_counts=True)
    x = np.column_stack([np.ones(len(lives)), lives.x])
    seen, groups = observe(lives.lower, lives.upper, misgrade), []
    for count in np.unique(counts):
        chosen = counts == count
        at = order[start[chosen][:, None] + np.arange(count)]
        groups.append((keys[chosen], Rows(x[at], Observed(*(array[at] for array in seen)), lives.weight[at])))
    return groups


@dataclass(frozen=True, eq=False)
class Maximum:
    """Where the log posterior is greatest.

    Parameters
    ----------
    theta : ndarray
        Coefficients, log sigma, log omega.
    covariance : ndarray
        Inverse of the negative Hessian there.
    value : float
        Log posterior up to a constant.
    steps : int
        Newton steps.
    converged : bool
        Whether the last step was small.
    """

    theta: Floats
    covariance: Floats
    value: float
    steps: int
    converged: bool


def _solve(curvature: Floats, gradient: Floats) -> Floats:
    # Newton's direction; a growing ridge where the surface bends the wrong way.
    ridge, scale = 0.0, max(float(np.abs(np.diagonal(curvature)).max()), 1e-8)
    for _ in range(40):
        try:
            return cho_solve(cho_factor(curvature + ridge * np.eye(len(gradient))), gradient)
        except (LinAlgError, ValueError):
            ridge = max(10 * ridge, 1e-8 * scale)
    return gradient / scale


def _bounded(step: Floats) -> Floats:
    # Log spreads move by at most one a step: a large leap there leads into flat land.
    return step / max(1.0, float(np.abs(step[-2:]).max()))


def maximise(problem: Problem, start: Floats) -> Maximum:
    """Climb to the maximum by damped Newton steps.

    Parameters
    ----------
    problem : Problem
        Lives and priors.
    start : ndarray
        Where to start.

    Returns
    -------
    Maximum
        The best point found, also if the climb did not end.
    """
    theta, now = start, problem.objective(start)
    steps, converged = 0, False
    while steps < STEPS and not converged:
        steps += 1
        step = _bounded(_solve(-now[2], now[1]))
        converged = bool(now[1] @ step < problem.tolerance)
        moved = _climb(problem, theta, now[0], step)
        if moved is None:  # no better point along the way: as good as it gets in this arithmetic
            converged = converged or bool(now[1] @ step < 1e-4)
            break
        theta, now = moved
    return Maximum(theta, _inverse(-now[2]), now[0], steps, converged)


def _climb(problem: Problem, theta: Floats, value: float, step: Floats) -> tuple[Floats, Triple] | None:
    for halving in range(30):
        there = theta + step / 2**halving
        if np.abs(there[-2:]).max() < LOG_SPREAD_BOUND:
            found = problem.objective(there)
            if np.isfinite(found[0]) and np.isfinite(found[2]).all() and found[0] >= value - SLACK * abs(value):
                return there, found
    return None


def _inverse(curvature: Floats) -> Floats:
    # Directions in which the surface bends the wrong way get a wide, finite variance.
    values, vectors = np.linalg.eigh((curvature + curvature.T) / 2)
    return (vectors / np.maximum(values, 1e-8)) @ vectors.T


def fit(
    lives: Lives,
    prior: Posterior = PRIOR,
    *,
    deck_effect: bool = True,
    misgrade: float = MISGRADE,
    nodes: int = NODES,
    start: Posterior | None = None,
) -> Fit:
    """Learn from the lives of coats; with no lives the prior comes back.

    Parameters
    ----------
    lives : Lives
        What visits say about coats.
    prior : Posterior
        What is believed without them.
    deck_effect : bool
        Whether decks have a pace of their own.
    misgrade : float
        Chance that a visit is graded on the wrong side of the limit.
    nodes : int
        Quadrature nodes a deck.
    start : Posterior, optional
        Where to start; an earlier fit saves steps.

    Returns
    -------
    Fit
        The posterior and how it came about.
    """
    if not len(lives):
        return Fit(prior, 0.0, 0, 0, 0, True, "No coat has been inspected yet: the forecast rests on the priors alone.")
    precision = np.linalg.inv(prior.covariance)
    problem = prepare(lives, prior.mean, precision, deck_effect=deck_effect, misgrade=misgrade, nodes=nodes)
    best = maximise(problem, (start or prior).mean)
    keys, mean, variance = _deck_posteriors(lives, best.theta, misgrade, nodes, deck_effect)
    posterior = Posterior(
        prior.names, best.theta, best.covariance, _version(lives, prior, misgrade), keys, mean, variance
    )
    note = "" if best.converged else "The fit did not settle; it is the best point found. Look at the newest visits."
    decks = len(np.unique(lives.deck))
    return Fit(posterior, problem.likelihood(best.theta)[0], len(lives), decks, best.steps, best.converged, note)


def _deck_posteriors(
    lives: Lives, theta: Floats, misgrade: float, nodes: int, deck_effect: bool
) -> tuple[NDArray[np.int64], Floats, Floats]:
    past = lives.take(np.flatnonzero(~lives.running & (lives.deck >= 0)))
    if not deck_effect or not len(past):
        return np.zeros(0, dtype=np.int64), np.zeros(0), np.zeros(0)
    found = [(keys, *paces(rows, theta, nodes)) for keys, rows in group(past, past.deck, misgrade)]
    keys, mean, variance = (np.concatenate(part) for part in zip(*found, strict=True))
    order = np.argsort(keys)
    return keys[order], mean[order], variance[order]


def _version(lives: Lives, prior: Posterior, misgrade: float) -> str:
    digest = hashlib.sha256(f"{prior.version} {misgrade}".encode())
    for name in lives.__dataclass_fields__:
        digest.update(np.ascontiguousarray(getattr(lives, name)).tobytes())
    return f"fit-{digest.hexdigest()[:12]}"
