"""The design matrix of coats of which not everything is known: its mean over what they may be, and
how far it varies around that."""

from dataclasses import dataclass
from itertools import product
from typing import Any

import numpy as np

from reminders.forecast.arrays import Floats, Integers
from reminders.forecast.coats import CATEGORY_LEVELS, Coats
from reminders.forecast.exposure import DESIGN_COLUMNS, FULL_SHADE_LOSS, design_matrix
from reminders.forecast.posterior import Posterior
from reminders.forecast.unknown_mix import UnknownMix

MIXED_FACTORS = ("finish", "species", "coats")
# The columns that change with them; the others are the same whatever the unknown is.
MIXED_PREFIXES = ("finish_", "oil_", "colour_", "film_", "base_", "species_", "log2_coats")
MIXED_COLUMNS = np.array(
    [
        at
        for at, name in enumerate(DESIGN_COLUMNS)
        if name.startswith(MIXED_PREFIXES) or name == "texture_weathered"
    ]
)
SHADE_COLUMN = list(DESIGN_COLUMNS).index("log_openness")
_KEY_FIELDS = ("finish_class", "pigment", "base", "species_class", "texture", "coats")


@dataclass(frozen=True, eq=False)
class ExpectedDesign:
    """The design matrix of n coats in the mean.

    Parameters
    ----------
    x : ndarray, shape (n, len(DESIGN_COLUMNS))
        Mean row of each coat.
    kind : ndarray of int, shape (n,)
        Row of `covariance` for each coat; −1 where everything is known.
    covariance : ndarray, shape (u, 1 + len(MIXED_FACTORS), c, c)
        Of the columns `MIXED_COLUMNS`: in all, and that which knowing one factor takes away.
    shade_variance : ndarray, shape (n,)
        Of the column of the shade, which goes with no other; 0 where it is known.
    """

    x: Floats
    kind: Integers
    covariance: Floats
    shade_variance: Floats

    def unknown_variances(self, posterior: Posterior) -> Floats:
        """Return the variance of log life that comes of what is not known.

        Parameters
        ----------
        posterior : Posterior
            What is believed.

        Returns
        -------
        ndarray, shape (n, 2 + len(MIXED_FACTORS))
            In all, and what knowing each factor, and the shade, would take away on average.

        Notes
        -----
        With rows X that vary with covariance C around their mean, and coefficients with mean b and
        covariance V, the variance of X·b grows by the sum of C ∘ (V + b bᵀ) (law of total
        variance). Knowing a factor takes away the part of b bᵀ; the doubt V about its effect stays.
        """
        variances = np.zeros((2 + len(MIXED_FACTORS), len(self.x))).T
        slope = posterior.beta[1 + SHADE_COLUMN]
        its_doubt = posterior.beta_covariance[1 + SHADE_COLUMN, 1 + SHADE_COLUMN]
        variances[:, -1] = self.shade_variance * slope**2
        variances[:, 0] = self.shade_variance * (slope**2 + its_doubt)
        if not len(self.covariance):
            return variances
        slopes = posterior.beta[1:][MIXED_COLUMNS]
        doubt = posterior.beta_covariance[1:, 1:][np.ix_(MIXED_COLUMNS, MIXED_COLUMNS)]
        by_kind = np.einsum("ufij,ij->uf", self.covariance, np.outer(slopes, slopes))
        by_kind[:, 0] += np.einsum("uij,ij->u", self.covariance[:, 0], doubt)
        rows = self.kind >= 0
        variances[rows, :-1] += np.maximum(by_kind, 0)[self.kind[rows]]
        return variances


def expected_design(coats: Coats) -> ExpectedDesign:
    """Return the design matrix, each unknown replaced by the mean over what it may be.

    Parameters
    ----------
    coats : Coats
        The coats.

    Returns
    -------
    ExpectedDesign
        One row a coat.
    """
    x = design_matrix(coats)
    shade_mean, shade_variance = _shade_moments(coats.mix)
    x[coats.is_shade_unknown, SHADE_COLUMN] = shade_mean
    varied = np.where(coats.is_shade_unknown, shade_variance, 0.0)
    kind = np.full(len(coats), -1, dtype=np.int64)
    size = len(MIXED_COLUMNS)
    rows = np.flatnonzero(coats.has_unknowns)
    if not len(rows):
        none = np.zeros((0, 1 + len(MIXED_FACTORS), size, size))
        return ExpectedDesign(x, kind, none, varied)
    keys = np.column_stack([getattr(coats, name)[rows] for name in _KEY_FIELDS]).astype(float)
    keys = np.nan_to_num(keys, nan=-1.0)
    kinds, kind[rows] = np.unique(keys, axis=0, return_inverse=True)
    found = [_mean_and_covariances(key, coats.mix) for key in kinds]
    x[np.ix_(rows, MIXED_COLUMNS)] = np.array([mean for mean, _ in found])[kind[rows]]
    return ExpectedDesign(x, kind, np.array([covariance for _, covariance in found]), varied)


def _shade_moments(mix: UnknownMix) -> tuple[float, float]:
    # Mean and variance of the column of the shade, wherever the deck lies.
    shades, shares = np.array(mix.shades, dtype=float).T
    openness = np.log(1 - FULL_SHADE_LOSS * shades)
    mean = float(np.average(openness, weights=shares))
    return mean, float(np.average((openness - mean) ** 2, weights=shares))


def _mean_and_covariances(key: Floats, mix: UnknownMix) -> tuple[Floats, Floats]:
    # Every combination of what is not known, as rows of a place of no account.
    finish, pigment, base, species, texture, number = key
    words = {name: CATEGORY_LEVELS[name] for name in _KEY_FIELDS[:-1]}
    finishes = mix.finishes
    if finish >= 0:
        levels = (("finish_class", finish), ("pigment", pigment), ("base", base))
        finishes = ((*(words[name][int(code)] for name, code in levels), 1.0),)  # type: ignore[assignment]
    timbers = mix.species if species < 0 else ((words["species_class"][int(species)], 1.0),)
    counts = mix.coats if number < 0 else ((number, 1.0),)
    cases = list(product(finishes, timbers, counts))
    weight = np.array([one[-1] * two[-1] * three[-1] for one, two, three in cases])
    weight = weight / weight.sum()
    rows = _case_rows(cases, words["texture"][int(texture)])
    mean = weight @ rows
    shape = (len(finishes), len(timbers), len(counts))
    parts = [_covariance(rows, weight, mean)]
    for axis in range(3):
        parts.append(_covariance(*_conditional_means(rows, weight, shape, axis), mean))
    return mean, np.array(parts)


def _case_rows(cases: list[tuple[Any, Any, Any]], texture: str) -> Floats:
    made = Coats(
        coated_on=np.zeros(len(cases)),
        latitude=45.0,
        sun=np.full(12, 10.0),
        wet_days=np.full(12, 10.0),
        finish_class=[finish[0] for finish, _, _ in cases],
        pigment=[finish[1] for finish, _, _ in cases],
        base=[finish[2] for finish, _, _ in cases],
        species_class=[timber[0] for _, timber, _ in cases],
        coats=[count[0] for _, _, count in cases],
        texture=texture,
    )
    return design_matrix(made)[:, MIXED_COLUMNS]


def _conditional_means(
    rows: Floats, weight: Floats, shape: tuple[int, int, int], axis: int
) -> tuple[Floats, Floats]:
    # Means of the rows once the factor of this axis is known, and the weights of its levels.
    others = tuple(other for other in range(3) if other != axis)
    grid = weight.reshape(shape)
    levels = grid.sum(axis=others)
    sums = (rows.reshape(*shape, -1) * grid[..., None]).sum(axis=others)
    return sums / levels[:, None], levels


def _covariance(rows: Floats, weight: Floats, mean: Floats) -> Floats:
    away = rows - mean
    return (away * weight[:, None]).T @ away
