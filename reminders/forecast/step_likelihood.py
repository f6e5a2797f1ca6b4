"""The log-likelihood of a life about which much was seen: a step function of log life weighs a
normal law.

Where a life is only known to lie between two ages the function has two steps (`likelihood.py`);
grades along a path of wear make it a smooth curve, which is cut into many.
"""

from typing import NamedTuple

import numpy as np
from scipy.special import ndtr

from reminders.forecast.arrays import Floats
from reminders.forecast.likelihood import LikelihoodTerms
from reminders.forecast.lognormal import LOG_SQRT_2PI

STEP_ROWS = 512  # rows whose nodes are worked on together: each has dozens of steps
# of the greatest: below it a sum of steps has no digits left and may fall under nought
LEAST_LIKELIHOOD = 1e-14


class LifeSteps(NamedTuple):
    """What was seen of n lives: the chance of it is constant between edges of log life.

    Parameters
    ----------
    edges : ndarray, shape (..., n, e)
        Logs of ages, ascending.
    falls : ndarray, shape (..., n, e)
        By how much the chance falls at each edge; below 0 where it rises.
    last : ndarray, shape (..., n)
        The chance beyond the last edge, the greatest of the life being 1.
    log_scale : ndarray, shape (..., n)
        Log of what makes it 1.
    """

    edges: Floats
    falls: Floats
    last: Floats
    log_scale: Floats

    def at_known_starts(self) -> "LifeSteps":
        """Return the same: possible starts are averaged over already.

        Returns
        -------
        LifeSteps
            The same.
        """
        return self

    @property
    def is_doubted(self) -> bool:
        """Grades are always read with a doubt."""
        return True

    @property
    def rows_a_block(self) -> int:
        """How many rows are worked on together."""
        return STEP_ROWS

    def values(self, eta: Floats, spread: float) -> Floats:
        """Return the log-likelihood of each row alone, without derivatives.

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
        z = (self.edges - eta[..., None]) / spread
        return np.log(self._likelihood(z)) + self.log_scale

    def _likelihood(self, z: Floats) -> Floats:
        return np.maximum(self.last + (ndtr(z) * self.falls).sum(axis=-1), LEAST_LIKELIHOOD)

    def terms(self, eta: Floats, spread: float) -> LikelihoodTerms:
        """Return the log-likelihood of each row and its derivatives.

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

        Notes
        -----
        With falls J at standardised edges z the likelihood is last + sum J Φ(z), and its
        derivatives are sums of J φ(z) times powers of z up to the third.
        """
        z = (self.edges - eta[..., None]) / spread
        likelihood = self._likelihood(z)
        weighed = np.exp(-(z**2) / 2 - LOG_SQRT_2PI) * self.falls
        sums = []
        for _ in range(4):
            sums.append(weighed.sum(axis=-1) / likelihood)
            weighed *= z
        flat, one, two, three = sums
        first = -flat / spread
        return LikelihoodTerms(
            np.log(likelihood) + self.log_scale,
            first,
            -one,
            -one / spread**2 - first**2,
            (flat - two) / spread + first * one,
            one - three - one**2,
        )
