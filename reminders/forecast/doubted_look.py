"""What is believed about a life after the client looked: not that they are right, only that they
more likely are."""

from typing import NamedTuple

import numpy as np
from scipy.special import ndtr, ndtri

from reminders.forecast.arrays import Booleans, Floats, Integers
from reminders.forecast.lognormal import (
    log_ndtr_interval,
    truncated_normal_cdf,
    truncated_normal_quantile,
)
from reminders.forecast.priors import CLIENT_MISCLASSIFICATION

TINY_SHARE = 1e-12


class BelievedLife(NamedTuple):
    """Standardised log lives between what we found sound and what we found worn, and on which side
    of the client's look each more likely ended.

    Parameters
    ----------
    low, high : ndarray
        Ends that are sure; infinite if open.
    look : ndarray
        Where the client looked, between the two; at `low` if they did not.
    share : ndarray
        Chance that the life ended before the look.
    """

    low: Floats
    high: Floats
    look: Floats
    share: Floats

    @property
    def bounded(self) -> Integers:
        """Rows of which something is known; all others follow the normal law."""
        return np.flatnonzero(np.isfinite(self.look) | np.isfinite(self.high))

    def take(self, rows: Integers) -> "BelievedLife":
        """Return some of the lives.

        Parameters
        ----------
        rows : ndarray of int
            Which.

        Returns
        -------
        BelievedLife
            Those lives.
        """
        return BelievedLife(*(part[rows] for part in self))

    def cdf(self, at: Floats) -> Floats:
        """Return the chance that the life ended by then.

        Parameters
        ----------
        at : ndarray, shape (n,) or (k, n)
            Where to read it.

        Returns
        -------
        ndarray, of the shape of `at`
            Between 0 and 1.
        """
        chance = ndtr(at)
        rows = self.bounded
        chance[..., rows] = self.take(rows)._bounded_cdf(at[..., rows])
        return chance

    def _bounded_cdf(self, at: Floats) -> Floats:
        before = truncated_normal_cdf(self.low, self.look, at)
        after = truncated_normal_cdf(self.look, self.high, at)
        # A side without width has no chance and no law of its own.
        early = np.where(self.share > 0, self.share * before, 0.0)
        late = np.where(self.share < 1, self.share + (1 - self.share) * after, 1.0)
        return np.where(at <= self.look, early, late)

    def quantile(self, chance: float | Floats) -> Floats:
        """Return where the life has ended with a chance.

        Parameters
        ----------
        chance : float or ndarray, shape (n,)
            Between 0 and 1.

        Returns
        -------
        ndarray, shape (n,)
            The inverse of `cdf`.
        """
        z = np.empty(len(self.low))
        z[:] = ndtri(np.clip(chance, TINY_SHARE, 1 - TINY_SHARE))
        rows = self.bounded
        z[rows] = self.take(rows)._bounded_quantile(np.broadcast_to(chance, z.shape)[rows])
        return z

    def _bounded_quantile(self, chance: Floats) -> Floats:
        is_before = chance < self.share
        part = np.where(is_before, self.share, 1 - self.share)
        within = np.where(is_before, chance, chance - self.share) / np.maximum(part, TINY_SHARE)
        return truncated_normal_quantile(
            np.where(is_before, self.low, self.look),
            np.where(is_before, self.look, self.high),
            np.clip(within, TINY_SHARE, 1 - TINY_SHARE),
        )


def believe_look(
    low: Floats,
    high: Floats,
    look: Floats,
    is_worn: Booleans,
    misclassification: float = CLIENT_MISCLASSIFICATION,
) -> BelievedLife:
    """Weigh both sides of a client's look by Bayes' rule.

    Parameters
    ----------
    low, high : ndarray
        Standardised log ages that are sure.
    look : ndarray
        That of the look; NaN if there was none.
    is_worn : ndarray of bool
        What the client saw.
    misclassification : float
        Chance that they see wrongly.

    Returns
    -------
    BelievedLife
        The belief.
    """
    has_looked = ~np.isnan(look)
    at = np.where(has_looked, np.clip(look, low, high), low)
    right = np.log1p(-misclassification)
    wrong = np.log(misclassification)
    share = np.where(at > low, 1.0, 0.0)
    inside = np.flatnonzero((at > low) & (at < high))
    before = log_ndtr_interval(low[inside], at[inside])
    after = log_ndtr_interval(at[inside], high[inside])
    odds = before - after + np.where(is_worn[inside], right - wrong, wrong - right)
    share[inside] = 1 / (1 + np.exp(np.clip(-odds, -700, 700)))
    return BelievedLife(low, high, at, share)
