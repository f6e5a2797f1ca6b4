"""Learning from visits: the most probable coefficients given priors and lives, and how sure they
are."""

import hashlib

import numpy as np

from reminders.forecast.arrays import Floats, Integers
from reminders.forecast.frailty import QUADRATURE_NODES, FrailtyPosterior, frailty_posterior
from reminders.forecast.graded_lives import ObservedLives
from reminders.forecast.posterior import Fit, Posterior
from reminders.forecast.posterior_mode import (
    NormalPrior,
    find_posterior_mode,
    group_by_coat_count,
    is_positive_definite,
    prepare_log_posterior,
)
from reminders.forecast.priors import OBSERVER_DOUBTS, PUBLISHED_PRIOR
from reminders.forecast.reml import apply_reml_correction

# where decks differ so much, or are so often misread, that the usual nodes leave points of error
FINE_QUADRATURE_NODES = 31
METHOD = 3  # counts up when equal lives give another fit than before
SPREAD_NAMES = ("log_sigma", "log_omega")
MISCLASSIFICATION = OBSERVER_DOUBTS["crew"].misclassification


def fit(
    lives: ObservedLives,
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
    lives : CensoredLives or GradedLives
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

    Notes
    -----
    Raises ValueError where lives, prior and start do not belong together.
    """
    _check_fit(lives, prior, start)
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
    decks = len(np.unique(lives.deck))
    for count in (nodes, max(nodes, FINE_QUADRATURE_NODES)):
        problem = prepare_log_posterior(
            lives,
            NormalPrior(prior.mean, precision),
            deck_effect=deck_effect,
            misclassification=misclassification,
            nodes=count,
        )
        mode = find_posterior_mode(problem, theta)
        best = apply_reml_correction(problem, mode, decks) if mode.converged else mode
        theta = mode.theta
        steps = steps + mode.steps
        if best.converged:
            break  # else the quadrature was too rough for its slope: on with more nodes
    keys, own = _frailty_posteriors(lives, best.theta, misclassification, count, deck_effect)
    posterior = Posterior(
        prior.names,
        best.theta,
        best.covariance,
        _fit_version(lives, prior, misclassification),
        keys,
        *own,
    )
    note = (
        ""
        if best.converged
        else "The fit did not settle; it is the best point found. Look at the newest visits."
    )
    return Fit(
        posterior, problem.likelihood(best.theta)[0], len(lives), decks, steps, best.converged, note
    )


def _check_fit(lives: ObservedLives, prior: Posterior, start: Posterior | None) -> None:
    names = prior.names
    if names[:1] != ("reference",) or names[-2:] != SPREAD_NAMES:
        raise ValueError(
            "the names of prior must begin with reference and end with log_sigma, log_omega, for"
            f" lives are log-normal and no other law is fitted; got {', '.join(names)}"
        )
    columns = names[1:-2]
    if lives.x.shape[1] != len(columns):
        raise ValueError(
            f"lives.x must have a column for each of the {len(columns)} coefficients of prior"
            f" ({', '.join(columns)}); got {lives.x.shape[1]}"
        )
    if start is not None and start.names != names:
        raise ValueError(
            f"start must have the names of prior; got {', '.join(start.names)}"
            f" and {', '.join(names)}"
        )
    if not is_positive_definite(prior.covariance):
        raise ValueError(
            "the covariance of prior must be positive definite; for a flat prior give wide"
            " variances, such as 100, for no doubt at all small ones"
        )


def _frailty_posteriors(
    lives: ObservedLives, theta: Floats, misclassification: float, nodes: int, deck_effect: bool
) -> tuple[Integers, FrailtyPosterior]:
    past = lives.take(np.flatnonzero(~lives.running & (lives.deck >= 0)))
    if not deck_effect or not len(past):
        none = FrailtyPosterior(np.zeros(0), np.zeros(0), np.zeros((0, len(theta) - 2)))
        return np.zeros(0, dtype=np.int64), none
    found = [
        (keys, frailty_posterior(rows, theta, nodes))
        for keys, rows in group_by_coat_count(past, past.deck, misclassification)
    ]
    keys = np.concatenate([keys for keys, _ in found])
    order = np.argsort(keys)
    columns = zip(*(own for _, own in found), strict=True)
    return keys[order], FrailtyPosterior(*(np.concatenate(each)[order] for each in columns))


def _fit_version(lives: ObservedLives, prior: Posterior, misclassification: float) -> str:
    digest = hashlib.sha256(f"{prior.version} {misclassification} {METHOD}".encode())
    for name in lives.__dataclass_fields__:
        digest.update(np.ascontiguousarray(getattr(lives, name)).tobytes())
    return f"fit-{digest.hexdigest()[:12]}"
