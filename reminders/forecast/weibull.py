"""A second curve of life, Weibull's: what the log-normal one is held against.

Log life = eta + spread · z, where z follows the law of the smallest extreme: P(z ≤ x) = 1 −
exp(−exp(x)). The shape of the Weibull law is 1 / spread and its scale exp(eta).
"""

from math import exp, log, pi, sqrt

import numpy as np
from numpy.typing import NDArray

from reminders.forecast.likelihood import LifeDistribution, LikelihoodTerms
from reminders.forecast.lognormal import log1mexp
from reminders.forecast.posterior import Posterior

Floats = NDArray[np.float64]

LOG_LOG_2 = log(log(2.0))
EQUAL_SD_LOG_SHIFT = log(sqrt(6.0) / pi)  # equal standard deviations of log life: π/√6 is that of z
MAX_EXPONENT = (
    700.0  # e^x is still a number; a life so far past its time has probability nought anyway
)


def _cumulative_hazard(z: Floats) -> Floats:
    # e^z, nought at −inf; held below overflow.
    return np.exp(np.minimum(z, MAX_EXPONENT))


def weibull_log_probability(low: Floats, high: Floats) -> Floats:
    """Return log(P(low < z ≤ high)) without loss of digits.

    Parameters
    ----------
    low : ndarray
        Lower ends, −inf allowed.
    high : ndarray
        Upper ends, +inf allowed, above the lower ends.

    Returns
    -------
    ndarray
        Log probabilities.
    """
    return log1mexp(_hazard_increment(low, high)) - _cumulative_hazard(low)


def _hazard_increment(low: Floats, high: Floats) -> Floats:
    # e^high − e^low, with all digits where the two lie close together.
    with np.errstate(invalid="ignore", over="ignore"):
        near = _cumulative_hazard(low) * np.expm1(np.minimum(high - low, MAX_EXPONENT))
    whole = np.where(np.isneginf(low), _cumulative_hazard(high), near)
    return np.where(np.isposinf(high), np.inf, whole)


def weibull_interval_terms(low: Floats, high: Floats, spread: float) -> LikelihoodTerms:
    """Return the terms of lives that ended between two ages.

    Parameters
    ----------
    low, high : ndarray
        (log age − eta) / spread at the ends.
    spread : float
        Scale of log life.

    Returns
    -------
    Terms
        Value and derivatives by eta and log spread.
    """
    between = _hazard_increment(low, high)
    chance = log1mexp(between)  # given that the lower age was reached
    with np.errstate(invalid="ignore", over="ignore"):
        a_density = np.where(np.isneginf(low), 0.0, np.exp(low - chance))
        b_density = np.where(np.isposinf(high), 0.0, np.exp(high - between - chance))
    a = np.where(np.isfinite(low), low, 0.0)
    b = np.where(np.isfinite(high), high, 0.0)
    a_slope = 1 - _cumulative_hazard(a)
    b_slope = 1 - _cumulative_hazard(b)
    first = a_density - b_density
    second = a * a_density - b * b_density
    return LikelihoodTerms(
        chance - _cumulative_hazard(low),
        first / spread,
        second,
        (b_slope * b_density - a_slope * a_density - first**2) / spread**2,
        ((b * b_slope + 1) * b_density - (a * a_slope + 1) * a_density - first * second) / spread,
        b * (1 + b * b_slope) * b_density - a * (1 + a * a_slope) * a_density - second**2,
    )


def weibull_exact_terms(z: Floats, log_age: Floats, spread: float) -> LikelihoodTerms:
    """Return the terms of lives that are known exactly.

    Parameters
    ----------
    z : ndarray
        (log age − eta) / spread.
    log_age : ndarray
        Log of the age.
    spread : float
        Scale of log life.

    Returns
    -------
    Terms
        Value and derivatives by eta and log spread.
    """
    z = np.where(np.isfinite(z), z, 0.0)
    log_age = np.where(np.isfinite(log_age), log_age, 0.0)
    hazard = _cumulative_hazard(z)
    slope = 1 - hazard
    return LikelihoodTerms(
        z - hazard - np.log(spread) - log_age,
        -slope / spread,
        -z * slope - 1,
        -hazard / spread**2,
        (slope - z * hazard) / spread,
        z * slope - z**2 * hazard,
    )


WEIBULL = LifeDistribution(
    "Weibull", weibull_log_probability, weibull_interval_terms, weibull_exact_terms
)


def weibull_prior(prior: Posterior) -> Posterior:
    """Return a log-normal belief in the terms of the Weibull law.

    Medians and the spread of log life stay as they are.

    Parameters
    ----------
    prior : Posterior
        What is believed of log-normal lives; the first mean is that of the reference deck.

    Returns
    -------
    Posterior
        The same belief of Weibull lives.
    """
    mean = prior.mean.copy()
    mean[-2] += EQUAL_SD_LOG_SHIFT
    mean[0] -= LOG_LOG_2 * exp(mean[-2])
    return Posterior(prior.names, mean, prior.covariance, f"{prior.version}-weibull")
