"""What several books learned, put together as a start for another: each weighed by its doubt, and
none taken for the truth about a business that it has never seen."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from reminders.forecast.arrays import Floats
from reminders.forecast.posterior import Posterior
from reminders.forecast.priors import PUBLISHED_PRIOR

LEARNED_FORMAT = "restorer-learned"
LEARNED_FORMAT_VERSION = 1
# Of the doubt of the published figures so much is about what differs from one business to the next
# (their ways, their products, their climate), and none of it is known before its own visits
# (judgement).
OWN_SHARE = 0.25
DIGITS = 6  # of coefficients and covariances: far below their doubt
MAX_COUNT = 10_000_000


@dataclass(frozen=True, eq=False)
class LearnedBook:
    """What one book learned, without anything about anybody in it.

    Parameters
    ----------
    posterior : Posterior
        Coefficients and their doubt; nothing of single decks.
    visits, coats, decks : int
        What it rests on.
    """

    posterior: Posterior
    visits: int
    coats: int
    decks: int

    def to_dict(self) -> dict[str, Any]:
        """Return it as plain values, fit for JSON (docs/learned-format.md).

        Returns
        -------
        dict
            What `from_dict` reads.
        """
        return {
            "format": LEARNED_FORMAT,
            "version": LEARNED_FORMAT_VERSION,
            "prior": PUBLISHED_PRIOR.version,
            "visits": self.visits,
            "coats": self.coats,
            "decks": self.decks,
            "names": list(self.posterior.names),
            "mean": self.posterior.mean.round(DIGITS).tolist(),
            "covariance": self.posterior.covariance.round(DIGITS + 2).tolist(),
        }

    @classmethod
    def from_dict(cls, stored: Any) -> "LearnedBook":
        """Return what `to_dict` wrote.

        Parameters
        ----------
        stored : object
            Whatever a file held.

        Returns
        -------
        LearnedBook
            The same.

        Notes
        -----
        Raises ValueError saying in plain words what is wrong with it.
        """
        if not isinstance(stored, dict) or stored.get("format") != LEARNED_FORMAT:
            raise ValueError(f"this is no file of what a book learned ({LEARNED_FORMAT})")
        if stored.get("version") != LEARNED_FORMAT_VERSION:
            raise ValueError(
                f"its version is {stored.get('version')!r}; this program reads"
                f" {LEARNED_FORMAT_VERSION}"
            )
        if stored.get("prior") != PUBLISHED_PRIOR.version:
            raise ValueError(
                f"it rests on the published figures {stored.get('prior')!r} and this program on"
                f" {PUBLISHED_PRIOR.version}: both books need the same version of the program"
            )
        if stored.get("names") != list(PUBLISHED_PRIOR.names):
            raise ValueError("its names are not the coefficients that this program knows")
        counts = [_count(stored, name) for name in ("visits", "coats", "decks")]
        mean = _numbers(stored, "mean", (len(PUBLISHED_PRIOR.names),))
        covariance = _numbers(stored, "covariance", (len(mean), len(mean)))
        if not np.allclose(covariance, covariance.T) or np.linalg.eigvalsh(covariance).min() <= 0:
            raise ValueError("covariance must be symmetric and positive definite")
        belief = Posterior(PUBLISHED_PRIOR.names, mean, covariance, "learned-elsewhere")
        return cls(belief, *counts)


def _count(stored: dict[str, Any], name: str) -> int:
    value = stored.get(name)
    if type(value) is not int or not 0 < value <= MAX_COUNT:
        raise ValueError(f"{name} must be a whole number from 1 to {MAX_COUNT}; got {value!r}")
    return value


def _numbers(stored: dict[str, Any], name: str, shape: tuple[int, ...]) -> Floats:
    try:
        found = np.array(stored.get(name), dtype=float)
    except (TypeError, ValueError):
        found = np.full(1, np.nan)
    if found.shape != shape or not np.isfinite(found).all():
        raise ValueError(f"{name} must hold {' by '.join(map(str, shape))} numbers")
    return found


def pool_learned(books: Sequence[LearnedBook], version: str) -> Posterior:
    """Return what is believed about another business once these books are known.

    Parameters
    ----------
    books : sequence of LearnedBook
        Each learned from the published figures.
    version : str
        Name of the belief.

    Returns
    -------
    Posterior
        Nowhere wider than the published figures, which come back where there are no books.

    Notes
    -----
    In units of the published prior N(m₀, V₀) the coefficients of business k are c + γ_k, with c of
    variance 1 − h common to all and γ_k of variance h its own. The visits of a book add A_k to the
    precision and b_k to the precision times the mean; with γ_k integrated out that is
    (1 + hA_k)⁻¹A_k and (1 + hA_k)⁻¹b_k for c. The new business has c and a γ of its own. Exact for
    normal lives.
    """
    root = np.linalg.cholesky(PUBLISHED_PRIOR.covariance)
    unit = np.linalg.inv(root)
    precision = np.eye(len(root)) / (1 - OWN_SHARE)
    pull = np.zeros(len(root))
    for book in books:
        theirs = unit @ book.posterior.covariance @ unit.T
        values, vectors = np.linalg.eigh((theirs + theirs.T) / 2)
        # What their visits add; nothing where they seem to take away.
        added = np.maximum(1 / values - 1, 0.0)
        away = vectors.T @ unit @ (book.posterior.mean - PUBLISHED_PRIOR.mean)
        shared = 1 / (1 + OWN_SHARE * added)
        precision += (vectors * (shared * added)) @ vectors.T
        pull += vectors @ (shared * away * np.where(added > 0, 1 / values, 0.0))
    common = np.linalg.inv(precision)
    spread = common + OWN_SHARE * np.eye(len(root))
    covariance = root @ ((spread + spread.T) / 2) @ root.T
    mean = PUBLISHED_PRIOR.mean + root @ common @ pull
    return Posterior(PUBLISHED_PRIOR.names, mean, covariance, version)
