"""The log-likelihood of a life between two ages and its derivatives, accurate far into both
tails."""

from typing import NamedTuple

import numpy as np
from scipy.special import logsumexp

from reminders.forecast.arrays import Booleans, Floats
from reminders.forecast.lognormal import LOG_SQRT_2PI, log_ndtr_interval
from reminders.forecast.priors import CLIENT_MISCLASSIFICATION

BLOCK_ROWS = 4_096  # rows whose nodes are worked on together
_WeighedEnds = tuple[Floats, Floats, float]


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
        The likelihood of a row is misread + certain · P(low < log life ≤ high), and, where its two
        ends are not equally sure,
    tail, tail_low, tail_high : ndarray
        + tail · P(tail_low < log life ≤ tail_high), beyond the end that is doubted more.
    low_at_starts, high_at_starts : ndarray, shape (n, k)
        The logs for each of k days on which the coat may have been laid; k is 0 where all days are
        known. Each P is then the mean over these days.
    """

    low: Floats
    high: Floats
    exact: Booleans
    misread: Floats
    certain: Floats
    tail: Floats
    tail_low: Floats
    tail_high: Floats
    low_at_starts: Floats
    high_at_starts: Floats

    def at_known_starts(self) -> "CensoringIntervals":
        """Return the same without days to integrate over.

        Returns
        -------
        CensoringIntervals
            Of coats whose day is known.
        """
        none = np.zeros((*self.low.shape, 0))
        return self._replace(low_at_starts=none, high_at_starts=none)

    @property
    def is_doubted(self) -> bool:
        """Whether any row may be misread."""
        return bool(self.misread.any())

    @property
    def rows_a_block(self) -> int:
        """How many rows are worked on together."""
        return BLOCK_ROWS

    def terms(self, eta: Floats, spread: float) -> LikelihoodTerms:
        """Return `log_likelihood_terms` of these lives.

        Parameters
        ----------
        eta : ndarray, shape (..., n)
            Mean of log life.
        spread : float
            Standard deviation of log life.

        Returns
        -------
        LikelihoodTerms
            Arrays of the shape of `eta`.
        """
        return log_likelihood_terms(self, eta, spread)

    def values(self, eta: Floats, spread: float) -> Floats:
        """Return `row_log_likelihoods` of these lives.

        Parameters
        ----------
        eta : ndarray, shape (..., n)
            Mean of log life.
        spread : float
            Standard deviation of log life.

        Returns
        -------
        ndarray
            Of the shape of `eta`.
        """
        return row_log_likelihoods(self, eta, spread)


def prepare_intervals(
    lower: Floats,
    upper: Floats,
    misclassification: float = 0.0,
    *,
    by_client: tuple[Booleans, Booleans] | None = None,
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
    by_client : tuple of ndarray of bool, optional
        Which lower and which upper ends rest on a client's look, with the doubt of that.
    at_starts : (ndarray, ndarray), optional
        Both ages for each of the days on which the coat may have been laid, shape (n, k).

    Returns
    -------
    CensoringIntervals
        The same, prepared.

    Notes
    -----
    With the chances m and n that the lower and the upper end were misread, what was seen has the
    likelihood m (1 − n) P(T ≤ lower) + (1 − m)(1 − n) P(lower < T ≤ upper)
    + (1 − m) n P(T > upper);
    that both were misread is left out.
    """
    if not 0 <= misclassification < 0.5:
        raise ValueError(f"misclassification must lie between 0 and 0.5; got {misclassification}")
    with np.errstate(divide="ignore"):
        low = np.log(lower)
        high = np.log(upper)
        none = np.zeros((len(low), 0))
        low_at, high_at = (np.log(ages) for ages in at_starts) if at_starts else (none, none)
    exact = lower == upper
    m, n = (
        np.where(rows, CLIENT_MISCLASSIFICATION, misclassification)
        for rows in (by_client or (np.zeros(lower.shape, bool), np.zeros(upper.shape, bool)))
    )
    # The intervals of rows that do not use them are left open, so that they stay free of 0/0.
    doubts = _weigh_doubts(m, n, np.isfinite(low) & ~exact, np.isfinite(high) & ~exact)
    used = doubts[2] > 0
    return CensoringIntervals(
        low,
        np.where(exact, np.inf, high),
        exact,
        *doubts,
        np.where(used & (m < n), high, -np.inf),
        np.where(used & (m > n), low, np.inf),
        low_at,
        high_at,
    )


def _weigh_doubts(
    m: Floats, n: Floats, has_low: Booleans, has_high: Booleans
) -> tuple[Floats, Floats, Floats]:
    # Misread, certain and tail of the Notes above.
    less = np.minimum(m, n)
    more = np.maximum(m, n)
    kinds = [has_low & has_high, has_low, has_high]
    return (
        np.select(kinds, [less * (1 - more), m, n], 0.0),
        np.select(kinds, [(1 - more) * (1 - 2 * less), 1 - 2 * m, 1 - 2 * n], 1.0),
        np.where(kinds[0], more - less, 0.0),
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
    terms = _mean_terms(_ends_at_starts(observed), eta, spread)
    if observed.exact.any():
        exact = _exact_terms((observed.low - eta) / spread, observed.low, spread)
        terms = LikelihoodTerms(
            *(np.where(observed.exact, e, t) for e, t in zip(exact, terms, strict=True))
        )
    if not observed.misread.any() and not observed.tail.any():
        return terms
    return _with_misclassification(terms, observed, eta, spread)


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
    value = _mean_log_probability(_ends_at_starts(observed), eta, spread)
    if observed.exact.any():
        exact = _exact_terms((observed.low - eta) / spread, observed.low, spread)
        value = np.where(observed.exact, exact.value, value)
    with np.errstate(divide="ignore"):
        whole = np.logaddexp(np.log(observed.misread), np.log(observed.certain) + value)
        if observed.tail.any():
            beyond = _mean_log_probability(_tails_at_starts(observed), eta, spread)
            whole = np.logaddexp(whole, np.log(observed.tail) + beyond)
    return whole


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


def _ends_at_starts(observed: CensoringIntervals) -> list[_WeighedEnds]:
    # Both ends for each possible start, with the weight of that.
    count = observed.low_at_starts.shape[-1]
    if not count:
        return [(observed.low, observed.high, 1.0)]
    return [
        (observed.low_at_starts[..., node], observed.high_at_starts[..., node], float(weight))
        for node, weight in enumerate(np.polynomial.legendre.leggauss(count)[1] / 2)
    ]


def _tails_at_starts(observed: CensoringIntervals) -> list[_WeighedEnds]:
    # The same beyond the end that is doubted more; a row that has no such end is left open.
    is_low_doubted = np.isfinite(observed.tail_high)
    is_high_doubted = np.isfinite(observed.tail_low)
    return [
        (np.where(is_high_doubted, high, -np.inf), np.where(is_low_doubted, low, np.inf), weight)
        for low, high, weight in _ends_at_starts(observed)
    ]


def _mean_log_probability(ends: list[_WeighedEnds], eta: Floats, spread: float) -> Floats:
    logs = [
        np.log(weight) + log_ndtr_interval((low - eta) / spread, (high - eta) / spread)
        for low, high, weight in ends
    ]
    return logs[0] if len(logs) == 1 else logsumexp(logs, axis=0)


def _mean_terms(ends: list[_WeighedEnds], eta: Floats, spread: float) -> LikelihoodTerms:
    # A mean of probabilities: its log has the derivatives of the parts, weighted by their shares r
    # (Louis 1982).
    parts = [
        _interval_terms((low - eta) / spread, (high - eta) / spread, spread)
        for low, high, _ in ends
    ]
    if len(parts) == 1:
        return parts[0]
    logs = np.array(
        [np.log(weight) + part.value for part, (*_, weight) in zip(parts, ends, strict=True)]
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
    terms: LikelihoodTerms, observed: CensoringIntervals, mean: Floats, spread: float
) -> LikelihoodTerms:
    # log(c + d·P + e·Q): each part is weighted by the chance that it is what happened; the
    # derivatives of a mixture follow.
    parts = [(observed.certain, terms)]
    if observed.tail.any():
        beyond = _mean_terms(_tails_at_starts(observed), mean, spread)
        parts.append((observed.tail, beyond))
    with np.errstate(divide="ignore"):
        logs = [np.log(weight) + part.value for weight, part in parts]
        value = np.logaddexp.reduce(
            [np.broadcast_to(np.log(observed.misread), logs[0].shape), *logs]
        )
    shares = [np.exp(each - value) for each in logs]
    pairs = [(share, part) for share, (_, part) in zip(shares, parts, strict=True)]
    eta = np.sum([share * part.eta for share, part in pairs], axis=0)
    tau = np.sum([share * part.tau for share, part in pairs], axis=0)
    # What was misread whatever the life has no slope; it bends the mixture all the same.
    flat = np.clip(1 - np.sum(shares, axis=0), 0.0, 1.0)
    bends = [
        (
            share * (part.eta_eta + (part.eta - eta) ** 2),
            share * (part.eta_tau + (part.eta - eta) * (part.tau - tau)),
            share * (part.tau_tau + (part.tau - tau) ** 2),
        )
        for share, part in pairs
    ]
    eta_eta, eta_tau, tau_tau = (np.sum(each, axis=0) for each in zip(*bends, strict=True))
    return LikelihoodTerms(
        value,
        eta,
        tau,
        eta_eta + flat * eta**2,
        eta_tau + flat * eta * tau,
        tau_tau + flat * tau**2,
    )
