"""The likelihood of whole decks: each has a pace of its own, integrated out by adaptive
Gauss–Hermite quadrature."""

from dataclasses import dataclass
from functools import cache
from typing import Any, NamedTuple

import numpy as np
from scipy.special import logsumexp

from reminders.forecast.arrays import Floats
from reminders.forecast.likelihood import (
    CensoringIntervals,
    LikelihoodTerms,
)
from reminders.forecast.lognormal import LOG_SQRT_2PI
from reminders.forecast.step_likelihood import LifeSteps

ValueGradientHessian = tuple[float, Floats, Floats]

QUADRATURE_NODES = 9
MAX_MODE_STEPS = 25
MAX_ROUGH_MODE_STEPS = 3  # where the centre is mended afterwards


@dataclass(frozen=True, eq=False)
class DeckRows:
    """Decks with equally many rows.

    Parameters
    ----------
    x : ndarray, shape (d, r, k + 1)
        Design matrix with the constant first.
    seen : CensoringIntervals
        What was seen of each life, arrays of shape (d, r).
    weight : ndarray, shape (d, r)
        How many coats a row stands for.
    """

    x: Floats
    seen: CensoringIntervals | LifeSteps
    weight: Floats

    def __len__(self) -> int:
        return len(self.x)

    def take(self, part: Any) -> "DeckRows":
        """Return some of the decks.

        Parameters
        ----------
        part : slice or ndarray
            Which decks.

        Returns
        -------
        DeckRows
            Those decks.
        """
        return DeckRows(
            self.x[part],
            type(self.seen)(*(array[part] for array in self.seen)),
            self.weight[part],
        )

    @property
    def stacked(self) -> Floats:
        """The design matrix with all rows below each other."""
        return self.x.reshape(-1, self.x.shape[-1])

    def blocks(self) -> list["DeckRows"]:
        """Return the decks in parts small enough for the processor's cache.

        Returns
        -------
        list of DeckRows
            The parts, in order.
        """
        size = max(1, self.seen.rows_a_block // self.x.shape[1])
        return [self.take(slice(at, at + size)) for at in range(0, len(self), size)]

    def weighted_terms(self, eta: Floats, spread: float) -> LikelihoodTerms:
        """Return the terms of each row times its weight.

        Parameters
        ----------
        eta : ndarray, shape (..., d, r)
            Means of log life.
        spread : float
            Standard deviation of log life.

        Returns
        -------
        LikelihoodTerms
            The weighted terms.
        """
        return LikelihoodTerms(*(term * self.weight for term in self.seen.terms(eta, spread)))


def single_coat_likelihood(rows: DeckRows, theta: Floats) -> ValueGradientHessian:
    """Return the likelihood of decks with one row each:
    log-normal with the two variances added, no quadrature.

    Parameters
    ----------
    rows : DeckRows
        Decks of one row.
    theta : ndarray
        Coefficients, log sigma, log omega (−inf for no deck effect).

    Returns
    -------
    value : float
        Log-likelihood.
    gradient : ndarray
        By theta.
    hessian : ndarray
        By theta twice.
    """
    sigma2 = np.exp(2 * theta[-2])
    omega2 = np.exp(2 * theta[-1])
    spread = np.sqrt(sigma2 + omega2)
    share = np.array([sigma2, omega2]) / spread**2
    terms = LikelihoodTerms(
        *(term.ravel() for term in rows.weighted_terms(rows.x @ theta[:-2], spread))
    )
    x = rows.stacked
    size = len(theta)
    p = len(theta) - 2
    gradient = np.empty(size)
    hessian = np.empty((size, size))
    gradient[:p], gradient[p:] = x.T @ terms.eta, share * terms.tau.sum()
    hessian[:p, :p] = (x * terms.eta_eta[:, None]).T @ x
    hessian[:p, p:] = np.outer(x.T @ terms.eta_tau, share)
    hessian[p:, :p] = hessian[:p, p:].T
    turn = 2 * share[0] * share[1] * np.array([[1, -1], [-1, 1]])
    hessian[p:, p:] = np.outer(share, share) * terms.tau_tau.sum() + turn * terms.tau.sum()
    return float(terms.value.sum()), gradient, hessian


def frailty_modes(rows: DeckRows, eta: Floats, sigma: float, omega: float) -> tuple[Floats, Floats]:
    """Return the most likely pace of each deck and the variance of a normal law fitted there.

    Parameters
    ----------
    rows : DeckRows
        The decks.
    eta : ndarray, shape (d, r)
        Means of log life before the pace.
    sigma : float
        Spread from coat to coat.
    omega : float
        Spread from deck to deck.

    Returns
    -------
    mode : ndarray, shape (d,)
        Log pace.
    variance : ndarray, shape (d,)
        Its variance.
    """
    mode = np.zeros(len(rows))
    for _ in range(MAX_ROUGH_MODE_STEPS if rows.seen.is_doubted else MAX_MODE_STEPS):
        terms = rows.weighted_terms(eta + mode[:, None], sigma)
        slope = terms.eta.sum(axis=1) - mode / omega**2
        # Misreading can bend a deck the wrong way; half of the prior's bend always stays.
        curvature = np.maximum(1 / omega**2 - terms.eta_eta.sum(axis=1), 0.5 / omega**2)
        step = np.clip(slope / curvature, -2 * (sigma + omega), 2 * (sigma + omega))
        mode = mode + step
        if np.abs(step).max(initial=0) < 1e-3 * omega:  # the quadrature needs no better centre
            break
    return mode, 1 / curvature


class _QuadratureNodes(NamedTuple):
    # Paces at the nodes and their posterior weights, both (q, d), and the log marginal of each
    # deck.
    pace: Floats
    weight: Floats
    log_marginal: Floats

    def moments(self) -> tuple[Floats, Floats]:
        mean = (self.weight * self.pace).sum(axis=0)
        return mean, (self.weight * (self.pace - mean) ** 2).sum(axis=0)


def _quadrature_centre(
    rows: DeckRows, eta: Floats, theta: Floats, count: int
) -> tuple[Floats, Floats]:
    centre = frailty_modes(rows, eta, np.exp(theta[-2]), np.exp(theta[-1]))
    if not rows.seen.is_doubted:
        return centre
    # Misreading makes for heavy or double-peaked beliefs: centre on the mean, not on one of the
    # peaks.
    log_frailty = _node_positions(centre, count)
    values = rows.seen.values(eta + log_frailty[..., None], np.exp(theta[-2])) * rows.weight
    mean, variance = _weigh_nodes(log_frailty, values, theta, centre[1]).moments()
    return mean, 1.2 * variance


@cache
def _hermite_rule(count: int) -> tuple[Floats, Floats]:
    # Nodes and weights; finding them takes as long as using them.
    return np.polynomial.hermite_e.hermegauss(count)


def _node_positions(centre: tuple[Floats, Floats], count: int) -> Floats:
    return centre[0] + np.sqrt(centre[1]) * _hermite_rule(count)[0][:, None]


def _weigh_nodes(
    log_frailty: Floats, values: Floats, theta: Floats, variance: Floats
) -> _QuadratureNodes:
    node, node_weight = _hermite_rule(len(log_frailty))
    joint = (
        values.sum(axis=-1)
        - log_frailty**2 / (2 * np.exp(2 * theta[-1]))
        - theta[-1]
        - LOG_SQRT_2PI
    )
    log_weight = joint + (np.log(node_weight) + node**2 / 2)[:, None] + 0.5 * np.log(variance)
    marginal = logsumexp(log_weight, axis=0)
    return _QuadratureNodes(log_frailty, np.exp(log_weight - marginal), marginal)


def _gauss_hermite(
    rows: DeckRows, theta: Floats, count: int
) -> tuple[_QuadratureNodes, LikelihoodTerms]:
    eta = rows.x @ theta[:-2]
    centre = _quadrature_centre(rows, eta, theta, count)
    log_frailty = _node_positions(centre, count)
    terms = rows.weighted_terms(eta + log_frailty[..., None], np.exp(theta[-2]))
    return _weigh_nodes(log_frailty, terms.value, theta, centre[1]), terms


def _block_likelihood(rows: DeckRows, theta: Floats, count: int) -> ValueGradientHessian:
    # Fisher's identity gives the gradient and Louis' identity the Hessian, the nodes held still. A
    # deck's score is linear in the scores of its rows, so both are first built per deck in rows (r
    # of them, tau, omega).
    at, terms = _gauss_hermite(rows, theta, count)
    pull = at.pace**2 / np.exp(2 * theta[-1])
    score = np.concatenate(
        [terms.eta, terms.tau.sum(axis=-1)[..., None], pull[..., None] - 1], axis=-1
    )
    mean = np.einsum("qd,qdr->dr", at.weight, score)
    away = (score - mean) * np.sqrt(at.weight)[..., None]
    inner = away.transpose(1, 2, 0) @ away.transpose(1, 0, 2)
    _add_curvature(inner, at.weight, terms, pull)
    r = rows.x.shape[1]
    p = rows.x.shape[2]
    x = rows.stacked
    gradient = np.concatenate([x.T @ mean[:, :r].ravel(), mean[:, r:].sum(axis=0)])
    hessian = np.empty((p + 2, p + 2))
    hessian[:p, :p] = x.T @ (inner[:, :r, :r] @ rows.x).reshape(-1, p)
    hessian[:p, p:] = x.T @ inner[:, :r, r:].reshape(-1, 2)
    hessian[p:, :p] = hessian[:p, p:].T
    hessian[p:, p:] = inner[:, r:, r:].sum(axis=0)
    return float(at.log_marginal.sum()), gradient, hessian


def _add_curvature(inner: Floats, weight: Floats, terms: LikelihoodTerms, pull: Floats) -> None:
    r = inner.shape[1] - 2
    row = np.arange(r)
    inner[:, row, row] += np.einsum("qd,qdr->dr", weight, terms.eta_eta)
    cross = np.einsum("qd,qdr->dr", weight, terms.eta_tau)
    inner[:, :r, r] += cross
    inner[:, r, :r] += cross
    inner[:, r, r] += np.einsum("qd,qdr->d", weight, terms.tau_tau)
    inner[:, r + 1, r + 1] -= 2 * (weight * pull).sum(axis=0)


def deck_likelihood(
    rows: DeckRows, theta: Floats, nodes: int = QUADRATURE_NODES
) -> ValueGradientHessian:
    """Return the likelihood of decks with several rows.

    Parameters
    ----------
    rows : DeckRows
        The decks.
    theta : ndarray
        Coefficients, log sigma, log omega.
    nodes : int
        Quadrature nodes a deck.

    Returns
    -------
    value : float
        Log-likelihood.
    gradient : ndarray
        By theta.
    hessian : ndarray
        By theta twice.
    """
    values, gradients, hessians = zip(
        *(_block_likelihood(part, theta, nodes) for part in rows.blocks()), strict=True
    )
    return sum(values), sum(gradients), sum(hessians)


class FrailtyPosterior(NamedTuple):
    """What the own coats of d decks say about their pace.

    Parameters
    ----------
    mean, variance : ndarray, shape (d,)
        Of log pace, the coefficients held where they are. Coats of a deck that contradict each
        other make for two peaks, one for each that may be misread: such a deck is taken to be known
        no worse than one that nobody has seen.
    slope : ndarray, shape (d, k + 1)
        How the mean moves with the coefficients.
    """

    mean: Floats
    variance: Floats
    slope: Floats


def frailty_posterior(
    rows: DeckRows, theta: Floats, nodes: int = QUADRATURE_NODES
) -> FrailtyPosterior:
    """Return what the own coats of each deck say about its log pace.

    Parameters
    ----------
    rows : DeckRows
        The decks.
    theta : ndarray
        Coefficients, log sigma, log omega.
    nodes : int
        Quadrature nodes a deck.

    Returns
    -------
    FrailtyPosterior
        One row a deck.

    Notes
    -----
    The derivative of a posterior mean is the covariance of the pace with the score of the
    coefficients, and that of coat j is its slope by `eta` times x_j. Together they make
    variance/omega² - 1, whatever the likelihood is. Where no visit may be misread each is negative;
    those that are not are left out, and the others keep the sum.
    """
    parts = [_block_frailty(part, theta, nodes) for part in rows.blocks()]
    return FrailtyPosterior(*(np.concatenate(each) for each in zip(*parts, strict=True)))


def _block_frailty(rows: DeckRows, theta: Floats, nodes: int) -> FrailtyPosterior:
    at, terms = _gauss_hermite(rows, theta, nodes)
    mean, variance = at.moments()
    variance = np.minimum(variance, np.exp(2 * theta[-1]))
    with_pace = np.einsum("qd,qdr->dr", at.weight * (at.pace - mean), terms.eta)
    pull = np.maximum(-with_pace, np.finfo(float).tiny)
    share = pull / pull.sum(axis=1, keepdims=True)
    taken_over = 1 - variance / np.exp(2 * theta[-1])
    slope = -taken_over[:, None] * np.einsum("dr,drk->dk", share, rows.x)
    return FrailtyPosterior(mean, variance, slope)
