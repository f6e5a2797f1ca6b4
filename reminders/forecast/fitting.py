"""Learning from visits: the most probable coefficients given priors and lives, and how sure they
are."""

import hashlib
from dataclasses import dataclass
from typing import Any

import numpy as np

from reminders.forecast.arrays import Floats, Integers
from reminders.forecast.frailty import QUADRATURE_NODES, frailty_moments
from reminders.forecast.intervals import CensoredLives
from reminders.forecast.posterior import Posterior
from reminders.forecast.posterior_mode import (
    NormalPrior,
    find_posterior_mode,
    group_by_coat_count,
    prepare_log_posterior,
)
from reminders.forecast.priors import PUBLISHED_PRIOR
from reminders.forecast.reml import apply_reml_correction

# where decks differ so much, or are so often misread, that the usual nodes leave points of error
FINE_QUADRATURE_NODES = 31
MISCLASSIFICATION = (
    0.01  # judgement: one visit in a hundred is graded on the wrong side of the limit
)


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
    lives : Lives
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
