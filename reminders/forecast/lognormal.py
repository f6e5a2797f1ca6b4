"""Log-normal probabilities of intervals and their inverse, accurate far into both tails."""

import numpy as np
from scipy.special import log_ndtr, ndtri_exp

from reminders.forecast.arrays import Floats

LOG_SQRT_2PI = 0.5 * np.log(2 * np.pi)
MAX_NARROW_WIDTH = 1e-3


def log1mexp(x: Floats) -> Floats:
    """Return log(1 − exp(−x)) for x ≥ 0.

    Parameters
    ----------
    x : ndarray
        Not negative.

    Returns
    -------
    ndarray
        Accurate for small and large x.
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(x <= np.log(2), np.log(-np.expm1(-x)), np.log1p(-np.exp(-x)))


def log_ndtr_interval(low: Floats, high: Floats) -> Floats:
    """Return log(Φ(high) − Φ(low)) without loss of digits.

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
    # Always subtract in the lower tail, where small numbers keep their digits.
    with np.errstate(invalid="ignore"):
        flip = low + high > 0
        a = np.where(flip, -high, low)
        b = np.where(flip, -low, high)
        upper = log_ndtr(b)
        result = upper + log1mexp(np.where(np.isneginf(a), np.inf, upper - log_ndtr(a)))
        middle = (a + b) / 2
        width = b - a
        narrow = np.isfinite(middle) & (width * (1 + np.abs(middle)) < MAX_NARROW_WIDTH)
    if narrow.any():
        m = middle[narrow]
        h = width[narrow]
        result[narrow] = -(m**2) / 2 - LOG_SQRT_2PI + np.log(h) + np.log1p((m**2 - 1) * h**2 / 24)
    return result


def truncated_normal_quantile(low: Floats, high: Floats, share: float | Floats) -> Floats:
    """Return the standard normal quantile given that the value lies between two ends.

    Parameters
    ----------
    low : ndarray
        Lower ends, −inf allowed.
    high : ndarray
        Upper ends, +inf allowed.
    share : float or ndarray
        Probability, above 0 and below 1.

    Returns
    -------
    ndarray
        z with P(Z ≤ z | low < Z ≤ high) = share.
    """
    with np.errstate(invalid="ignore"):
        flip = ~(low + high < 0)  # also where both ends are infinite
    a = np.where(flip, -high, low)
    b = np.where(flip, -low, high)
    part = np.where(flip, 1 - share, share)
    mixed = np.logaddexp(np.log1p(-part) + log_ndtr(a), np.log(part) + log_ndtr(b))
    z = np.clip(ndtri_exp(mixed), a, b)
    return np.where(flip, -z, z)


def truncated_normal_cdf(low: Floats, high: Floats, at: Floats) -> Floats:
    """Return P(Z ≤ at | low < Z ≤ high).

    Parameters
    ----------
    low : ndarray
        Lower ends, −inf allowed.
    high : ndarray
        Upper ends, +inf allowed.
    at : ndarray
        Where to read the probability.

    Returns
    -------
    ndarray
        0 below the lower end, 1 above the upper end.
    """
    z = np.clip(at, low, high)
    with np.errstate(invalid="ignore", divide="ignore"):
        below = np.where(z > low, log_ndtr_interval(low, np.where(z > low, z, high)), -np.inf)
        return np.clip(np.exp(below - log_ndtr_interval(low, high)), 0.0, 1.0)
