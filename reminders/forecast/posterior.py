"""What is believed about the coefficients and about the decks in the books:
all that a prediction needs."""

from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from reminders.forecast.arrays import Floats, Integers
from reminders.forecast.wear_path import WearPath

WIDTH_SLACK = 1e-6  # of the variance: rounding
SLOPE_DIGITS = 4  # kept of slopes between 0 and 1, most of them 0: a row a deck is much to store


def _empty_array() -> NDArray[Any]:
    return np.zeros(0)


@dataclass(frozen=True, eq=False)
class Posterior:
    """A normal belief about the coefficients, and one about each deck's own pace.

    Parameters
    ----------
    names : tuple of str
        `reference`, the columns of the design matrix, `log_sigma`, `log_omega`.
    mean : ndarray, shape (p,)
        Means, on the scale of log clock months.
    covariance : ndarray, shape (p, p)
        Covariance of the same.
    version : str
        Which fit this is; equal data and priors give an equal version.
    deck_keys : ndarray of int, shape (d,)
        Keys of the decks with visits of their own, ascending.
    deck_mean : ndarray, shape (d,)
        Mean of log pace of each; 0 is as its exposure says.
    deck_variance : ndarray, shape (d,)
        Variance of the same.
    deck_slope : ndarray, shape (d, p - 2)
        How the mean moves with the coefficients; where it is left out, as if the own coats of each
        deck had been like the one that is asked about.
    path : WearPath, optional
        Along which grades are read; without it they only say worn or not.
    """

    names: tuple[str, ...]
    mean: Floats
    covariance: Floats
    version: str
    deck_keys: Integers = field(default_factory=lambda: np.zeros(0, dtype=np.int64))
    deck_mean: Floats = field(default_factory=_empty_array)
    deck_variance: Floats = field(default_factory=_empty_array)
    deck_slope: Floats = field(default_factory=_empty_array)
    path: WearPath | None = None

    def __post_init__(self) -> None:
        size = len(self.names)
        if self.mean.shape != (size,) or self.covariance.shape != (size, size):
            raise ValueError(
                f"mean and covariance must have {size} rows; got {self.mean.shape},"
                f" {self.covariance.shape}"
            )
        if not (np.isfinite(self.mean).all() and np.isfinite(self.covariance).all()):
            raise ValueError(
                "mean and covariance must be finite; got NaN or infinity; a flat prior has wide"
                " variances, such as 100"
            )

    @property
    def beta(self) -> Floats:
        """Coefficients, the reference deck first."""
        return self.mean[:-2]

    @property
    def beta_covariance(self) -> Floats:
        """Covariance of the coefficients."""
        return self.covariance[:-2, :-2]

    @property
    def coat_variance(self) -> float:
        """Expected variance from coat to coat, the doubt about sigma included."""
        return float(np.exp(2 * self.mean[-2] + 2 * self.covariance[-2, -2]))

    @property
    def omega(self) -> float:
        """Spread from deck to deck, on the log scale."""
        return float(np.exp(self.mean[-1]))

    @property
    def reference_months(self) -> float:
        """Median life on the reference deck."""
        return float(np.exp(self.mean[0]))

    def with_longer_lives(self, log_factor: float, sd: float) -> "Posterior":
        """Return the same belief about coats that live longer by a factor that is in doubt itself.

        Parameters
        ----------
        log_factor : float
            Mean of the log of the factor.
        sd : float
            Standard deviation of the same.

        Returns
        -------
        Posterior
            The reference life moved and in greater doubt, all else as it is.
        """
        mean, covariance = self.mean.copy(), self.covariance.copy()
        mean[0] += log_factor
        covariance[0, 0] += sd**2
        return replace(self, mean=mean, covariance=covariance)

    def is_no_wider_than(self, other: "Posterior") -> bool:
        """Return whether no combination of coefficients is in greater doubt here than there.

        Parameters
        ----------
        other : Posterior
            Such as the prior.

        Returns
        -------
        bool
            False for a belief that cannot have come of that prior and of lives.
        """
        root = np.linalg.inv(np.linalg.cholesky(other.covariance))
        share = np.linalg.eigvalsh(root @ self.covariance @ root.T)
        return bool(share.max() < 1 + WIDTH_SLACK)

    def log_frailty_of(self, deck: Integers) -> tuple[Floats, Floats]:
        """Return mean and variance of the log pace of decks, known to the books or not.

        Parameters
        ----------
        deck : ndarray of int, shape (n,)
            Keys of the decks.

        Returns
        -------
        mean : ndarray, shape (n,)
            0 for a deck not in the books.
        variance : ndarray, shape (n,)
            The spread from deck to deck for a deck not in the books.
        """
        mean = np.zeros(len(deck))
        variance = np.full(len(deck), self.omega**2)
        rows, at = self._known_decks(deck)
        mean[rows] = self.deck_mean[at]
        variance[rows] = self.deck_variance[at]
        return mean, variance

    def _known_decks(self, deck: Integers) -> tuple[Integers, Integers]:
        # Rows of the decks in the books, and their places there.
        if not len(self.deck_keys):
            return np.zeros(0, dtype=np.int64), np.zeros(0, dtype=np.int64)
        at = np.minimum(np.searchsorted(self.deck_keys, deck), len(self.deck_keys) - 1)
        rows = np.flatnonzero(self.deck_keys[at] == deck)
        return rows, at[rows]

    def predictor_variance(self, x: Floats, deck: Integers) -> Floats:
        """Return the variance of log life that comes of the doubt about the coefficients.

        Parameters
        ----------
        x : ndarray, shape (n, p - 3)
            Rows of the design matrix.
        deck : ndarray of int, shape (n,)
            Keys of the decks.

        Returns
        -------
        ndarray, shape (n,)
            (1, x) V (1, x)' for a deck without coats of its own.

        Notes
        -----
        An error of the coefficients that a deck's own coats have met is made good by its pace:
        with g the slope of the pace, z = (1, x) + g takes the place of (1, x). With normal lives
        that is exact, and z = (1, x) - (1 - k)(1, mean x of the own coats) with
        k = variance / omega².
        """
        z = self._mean_slope(x, deck).T
        v = self.beta_covariance
        spread = np.diagonal(v)
        if np.count_nonzero(v) == np.count_nonzero(spread):  # independent, as priors are
            return spread @ z**2
        return np.einsum("ji,ji->i", z, v @ z)

    def _mean_slope(self, x: Floats, deck: Integers) -> Floats:
        # How the mean of log life moves with the coefficients.
        z = np.vstack([np.ones(len(x)), x.T]).T
        rows, at = self._known_decks(deck)
        if self.deck_slope.size:
            z[rows] += self.deck_slope[at]
        else:
            z[rows] *= (self.deck_variance[at] / self.omega**2)[:, None]
        return z

    def path_slope(self, x: Floats, deck: Integers) -> Floats:
        """Return how the mean of log life, before any grade, moves with the path of wear.

        Parameters
        ----------
        x : ndarray, shape (n, p - 3)
            Rows of the design matrix.
        deck : ndarray of int, shape (n,)
            Keys of the decks.

        Returns
        -------
        ndarray, shape (n, w)
            By parameters and offsets of the path; w is 0 where there is no doubt about it.
        """
        if self.path is None or not self.path.is_doubted:
            return np.zeros((len(x), 0))
        return self._mean_slope(x, deck) @ self.path.coefficient_slope

    def to_dict(self) -> dict[str, Any]:
        """Return the belief as plain lists and numbers, fit for JSON.

        Returns
        -------
        dict
            What `from_dict` reads.
        """
        return {
            "names": list(self.names),
            "mean": self.mean.tolist(),
            "covariance": self.covariance.tolist(),
            "version": self.version,
            "deck_keys": self.deck_keys.tolist(),
            "deck_mean": self.deck_mean.tolist(),
            "deck_variance": self.deck_variance.tolist(),
            "deck_slope": self.deck_slope.round(SLOPE_DIGITS).tolist(),
            "path": None if self.path is None else self.path.to_dict(),
        }

    @classmethod
    def from_dict(cls, stored: dict[str, Any]) -> "Posterior":
        """Return the belief that `to_dict` wrote.

        Parameters
        ----------
        stored : dict
            What `to_dict` returned.

        Returns
        -------
        Posterior
            The same belief.
        """
        path = stored.get("path")  # none before 0.3
        return cls(
            names=tuple(stored["names"]),
            mean=np.array(stored["mean"], dtype=float),
            covariance=np.array(stored["covariance"], dtype=float),
            version=stored["version"],
            deck_keys=np.array(stored["deck_keys"], dtype=np.int64),
            deck_mean=np.array(stored["deck_mean"], dtype=float),
            deck_variance=np.array(stored["deck_variance"], dtype=float),
            deck_slope=np.array(stored.get("deck_slope", []), dtype=float),  # none before 0.3
            path=None if path is None else WearPath.from_dict(path),
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
