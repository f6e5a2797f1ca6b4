"""The log-likelihood of a life between two ages and its derivatives, accurate far into both
tails."""

from typing import NamedTuple

import numpy as np

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
    """

    low: Floats
    high: Floats
    exact: Booleans
    misread: Floats
    certain: Floats


def prepare_intervals(
    lower: Floats, upper: Floats, misclassification: float = 0.0
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
    return CensoringIntervals(low, np.where(exact, np.inf, high), exact, misclassified, classified)


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
