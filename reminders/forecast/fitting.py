"""Learning from visits: the most probable coefficients given priors and lives, and how sure they
are."""

import hashlib

import numpy as np

from reminders.forecast.arrays import Floats, Integers
from reminders.forecast.frailty import QUADRATURE_NODES, frailty_moments
from reminders.forecast.intervals import CensoredLives
from reminders.forecast.posterior import Fit, Posterior
from reminders.forecast.posterior_mode import (
    NormalPrior,
    find_posterior_mode,
    group_by_coat_count,
    prepare_log_posterior,
)
from reminders.forecast.priors import OBSERVER_DOUBTS, PUBLISHED_PRIOR
from reminders.forecast.reml import apply_reml_correction

# where decks differ so much, or are so often misread, that the usual nodes leave points of error
FINE_QUADRATURE_NODES = 31
MISCLASSIFICATION = OBSERVER_DOUBTS["crew"].misclassification


def fit(
    lives: CensoredLives,
    prior: Posterior = PUBLISHED_PRIOR,
    *,
    deck_effect: bool = True,
    misclassification: float = MISCLASSIFICATION,
    nodes: int = QUADRATURE_NODES,
    start: Posterior | None = None,
) -> Fit:
    """Learn from the lives of coats; with no lives the prior comes back.

    Parameters
    ----------
    lives : CensoredLives
        What visits say about coats.
    prior : Posterior
        What is believed without them.
    deck_effect : bool
        Whether decks have a pace of their own.
    misclassification : float
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
        return Fit(
            prior,
            0.0,
            0,
            0,
            0,
            True,
            "No coat has been inspected yet: the forecast rests on the priors alone.",
        )
    precision = np.asarray(np.linalg.inv(prior.covariance), dtype=np.float64)
    theta = (start or prior).mean
    steps = 0
    for count in (nodes, max(nodes, FINE_QUADRATURE_NODES)):
        problem = prepare_log_posterior(
            lives,
            NormalPrior(prior.mean, precision),
            deck_effect=deck_effect,
            misclassification=misclassification,
            nodes=count,
        )
        best = find_posterior_mode(problem, theta)
        theta = best.theta
        steps = steps + best.steps
        if (
            best.converged
        ):  # else the quadrature was too rough for its slope: on from there with more nodes
            break
    decks = len(np.unique(lives.deck))
    best = apply_reml_correction(problem, best, decks)
    keys, mean, variance = _frailty_posteriors(
        lives, best.theta, misclassification, nodes, deck_effect
    )
    posterior = Posterior(
        prior.names,
        best.theta,
        best.covariance,
        _fit_version(lives, prior, misclassification),
        keys,
        mean,
        variance,
    )
    note = (
        ""
        if best.converged
        else "The fit did not settle; it is the best point found. Look at the newest visits."
    )
    return Fit(
        posterior, problem.likelihood(best.theta)[0], len(lives), decks, steps, best.converged, note
    )


def _frailty_posteriors(
    lives: CensoredLives, theta: Floats, misclassification: float, nodes: int, deck_effect: bool
) -> tuple[Integers, Floats, Floats]:
    past = lives.take(np.flatnonzero(~lives.running & (lives.deck >= 0)))
    if not deck_effect or not len(past):
        return np.zeros(0, dtype=np.int64), np.zeros(0), np.zeros(0)
    found = [
        (keys, *frailty_moments(rows, theta, nodes))
        for keys, rows in group_by_coat_count(past, past.deck, misclassification)
    ]
    keys, mean, variance = (np.concatenate(part) for part in zip(*found, strict=True))
    order = np.argsort(keys)
    return keys[order], mean[order], variance[order]


def _fit_version(lives: CensoredLives, prior: Posterior, misclassification: float) -> str:
    digest = hashlib.sha256(f"{prior.version} {misclassification}".encode())
    for name in lives.__dataclass_fields__:
        digest.update(np.ascontiguousarray(getattr(lives, name)).tobytes())
    return f"fit-{digest.hexdigest()[:12]}"
