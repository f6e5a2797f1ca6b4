"""The log-likelihood of a life between two ages and its derivatives, accurate far into both
tails."""

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np
from scipy.special import logsumexp

from reminders.forecast.arrays import Booleans, Floats
from reminders.forecast.lognormal import LOG_SQRT_2PI, log_ndtr_interval


class LikelihoodTerms(NamedTuple):
    """Value and derivatives of the log-likelihood of each row, by its mean `eta` and by the log
    spread `tau`.

    Parameters
    ----------
    value : ndarray
        Log-likelihood.
    eta, tau : ndarray
        First derivatives.
    eta_eta, eta_tau, tau_tau : ndarray
        Second derivatives.
    """

    value: Floats
    eta: Floats
    tau: Floats
    eta_eta: Floats
    eta_tau: Floats
    tau_tau: Floats


class CensoringIntervals(NamedTuple):
    """What was seen of each life, prepared once.

    Parameters
    ----------
    low, high : ndarray
        Logs of the ages between which the life ended; infinite if open.
    exact : ndarray of bool
        Whether the life is known exactly.
    misread, certain : ndarray
        The likelihood of a row is misread + certain · P(low < log life ≤ high).
    low_at_starts, high_at_starts : ndarray, shape (n, k)
        The logs for each of k days on which the coat may have been laid; k is 0 where all days are
        known. P is then the mean over these days.
    """

    low: Floats
    high: Floats
    exact: Booleans
    misread: Floats
    certain: Floats
    low_at_starts: Floats
    high_at_starts: Floats


def prepare_intervals(
    lower: Floats,
    upper: Floats,
    misclassification: float = 0.0,
    *,
    at_starts: tuple[Floats, Floats] | None = None,
) -> CensoringIntervals:
    """Prepare ages for the likelihood.

    Parameters
    ----------
    lower : ndarray
        Ages at which the coats were sound.
    upper : ndarray
        Ages at which they were worn.
    misclassification : float
        Chance that a visit reads sound for worn or the other way round; below one half.
    at_starts : (ndarray, ndarray), optional
        Both ages for each of the days on which the coat may have been laid, shape (n, k).

    Returns
    -------
    CensoringIntervals
        The same, prepared.
    """
    if not 0 <= misclassification < 0.5:
        raise ValueError(f"misclassification must lie between 0 and 0.5; got {misclassification}")
    with np.errstate(divide="ignore"):
        low = np.log(lower)
        high = np.log(upper)
        none = np.zeros((len(low), 0))
        low_at, high_at = (np.log(ages) for ages in at_starts) if at_starts else (none, none)
    exact = lower == upper
    ends = np.where(exact, 0, np.isfinite(low).astype(int) + np.isfinite(high))
    # One end: read rightly, or misread on the other side. Two ends: one of two visits misread, both
    # is left out.
    misclassified = np.select(
        [ends == 1, ends == 2],
        [misclassification, misclassification * (1 - misclassification)],
        0.0,
    )
    classified = np.select(
        [ends == 1, ends == 2],
        [1 - 2 * misclassification, (1 - misclassification) * (1 - 2 * misclassification)],
        1.0,
    )
    # The interval of an exact row is not used; left open, it stays free of 0/0.
    return CensoringIntervals(
        low, np.where(exact, np.inf, high), exact, misclassified, classified, low_at, high_at
    )


def log_likelihood_terms(
    observed: CensoringIntervals, eta: Floats, spread: float
) -> LikelihoodTerms:
    """Return the log-likelihood of each row and its derivatives.

    Parameters
    ----------
    observed : CensoringIntervals
        What was seen.
    eta : ndarray, shape (..., n)
        Mean of log life.
    spread : float
        Standard deviation of log life.

    Returns
    -------
    LikelihoodTerms
        Arrays of the shape of `eta`.
    """
    a = (observed.low - eta) / spread
    b = (observed.high - eta) / spread
    if observed.low_at_starts.shape[-1]:
        terms = _terms_over_starts(observed, eta, spread)
    else:
        terms = _interval_terms(a, b, spread)
    if observed.exact.any():
        exact = _exact_terms(a, observed.low, spread)
        terms = LikelihoodTerms(
            *(np.where(observed.exact, e, t) for e, t in zip(exact, terms, strict=True))
        )
    return _with_misclassification(terms, observed) if observed.misread.any() else terms


def row_log_likelihoods(observed: CensoringIntervals, eta: Floats, spread: float) -> Floats:
    """Return the log-likelihood of each row alone, without derivatives.

    Parameters
    ----------
    observed : CensoringIntervals
        What was seen.
    eta : ndarray, shape (..., n)
        Mean of log life.
    spread : float
        Standard deviation of log life.

    Returns
    -------
    ndarray
        Of the shape of `eta`.
    """
    low = (observed.low - eta) / spread
    high = (observed.high - eta) / spread
    if observed.low_at_starts.shape[-1]:
        value = logsumexp(
            [
                np.log(weight) + log_ndtr_interval((start - eta) / spread, (end - eta) / spread)
                for start, end, weight in _ages_at_starts(observed)
            ],
            axis=0,
        )
    else:
        value = log_ndtr_interval(low, high)
    if observed.exact.any():
        value = np.where(observed.exact, _exact_terms(low, observed.low, spread).value, value)
    with np.errstate(divide="ignore"):
        return np.logaddexp(np.log(observed.misread), np.log(observed.certain) + value)


def _interval_terms(a: Floats, b: Floats, spread: float) -> LikelihoodTerms:
    with np.errstate(invalid="ignore", divide="ignore", over="ignore"):
        value = log_ndtr_interval(a, b)
        lower = np.exp(-(a**2) / 2 - LOG_SQRT_2PI - value)
        upper = np.exp(-(b**2) / 2 - LOG_SQRT_2PI - value)
    a = np.where(np.isfinite(a), a, 0.0)
    b = np.where(np.isfinite(b), b, 0.0)
    a1 = a * lower
    b1 = b * upper
    a2 = a * a1
    b2 = b * b1
    first = lower - upper
    second = a1 - b1
    return LikelihoodTerms(
        value,
        first / spread,
        second,
        (a1 - b1 - first**2) / spread**2,
        (upper - b2 - lower + a2 - first * second) / spread,
        b1 - b * b2 - a1 + a * a2 - second**2,
    )


def _ages_at_starts(observed: CensoringIntervals) -> Iterator[tuple[Floats, Floats, float]]:
    count = observed.low_at_starts.shape[-1]
    weights = np.polynomial.legendre.leggauss(count)[1] / 2
    for node, weight in enumerate(weights):
        yield observed.low_at_starts[..., node], observed.high_at_starts[..., node], weight


def _terms_over_starts(observed: CensoringIntervals, eta: Floats, spread: float) -> LikelihoodTerms:
    # A mean of probabilities: its log has the derivatives of the parts, weighted by their shares r
    # (Louis 1982).
    parts = [
        _interval_terms((low - eta) / spread, (high - eta) / spread, spread)
        for low, high, _ in _ages_at_starts(observed)
    ]
    logs = np.array(
        [
            np.log(weight) + part.value
            for part, (*_, weight) in zip(parts, _ages_at_starts(observed), strict=True)
        ]
    )
    value = logsumexp(logs, axis=0)
    r = np.exp(logs - value)
    first, second, both = (
        np.array([getattr(part, name) for part in parts]) for name in ("eta", "tau", "eta_tau")
    )
    eta_mean = (r * first).sum(axis=0)
    tau_mean = (r * second).sum(axis=0)
    eta_eta = np.array([part.eta_eta for part in parts]) + first**2
    tau_tau = np.array([part.tau_tau for part in parts]) + second**2
    return LikelihoodTerms(
        value,
        eta_mean,
        tau_mean,
        (r * eta_eta).sum(axis=0) - eta_mean**2,
        (r * (both + first * second)).sum(axis=0) - eta_mean * tau_mean,
        (r * tau_tau).sum(axis=0) - tau_mean**2,
    )


def _exact_terms(z: Floats, log_age: Floats, spread: float) -> LikelihoodTerms:
    log_age = np.where(np.isfinite(log_age), log_age, 0.0)
    z = np.where(np.isfinite(z), z, 0.0)
    value = -(z**2) / 2 - LOG_SQRT_2PI - np.log(spread) - log_age
    flat = np.full_like(z, -1 / spread**2)
    return LikelihoodTerms(value, z / spread, z**2 - 1, flat, -2 * z / spread, -2 * z**2)


def _with_misclassification(
    terms: LikelihoodTerms, observed: CensoringIntervals
) -> LikelihoodTerms:
    # log(c + d·P): every derivative is weighted by the chance w that the row was read rightly.
    with np.errstate(divide="ignore"):
        right = np.log(observed.certain) + terms.value
        value = np.logaddexp(np.log(observed.misread), right)
    w = np.exp(right - value)
    v = w * (1 - w)
    return LikelihoodTerms(
        value,
        w * terms.eta,
        w * terms.tau,
        w * terms.eta_eta + v * terms.eta**2,
        w * terms.eta_tau + v * terms.eta * terms.tau,
        w * terms.tau_tau + v * terms.tau**2,
    )
