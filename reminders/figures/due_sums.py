"""Sums of work of which each piece comes due with a chance of its own. Pure arrays."""

from typing import NamedTuple

import numpy as np

from reminders.forecast import Floats

NORMAL_QUANTILE_90 = 1.2815515655446004
TINY_VARIANCE = 1e-12


class DueSums(NamedTuple):
    """Of k stretches of time: what is to be expected, and between what it lies eight times in
    ten."""

    mean: Floats
    low: Floats
    high: Floats


def sum_due_work(chances: Floats, amounts: Floats) -> DueSums:
    """Sum n pieces of work; piece i falls into stretch j with `chances[i, j]` and is then worth
    `amounts[i, j]`, independently of the others.

    Mean, variance and third moment of such a sum are exact; its tenths are read from them by
    Cornish and Fisher's expansion (from memory: z + (z² − 1)·skew/6) and kept between nothing and
    everything.
    """
    mean = (chances * amounts).sum(axis=0)
    variance = (amounts**2 * chances * (1 - chances)).sum(axis=0)
    third = (amounts**3 * chances * (1 - chances) * (1 - 2 * chances)).sum(axis=0)
    spread = np.sqrt(variance)
    skew = third / np.maximum(variance, TINY_VARIANCE) ** 1.5
    bend = (NORMAL_QUANTILE_90**2 - 1) * skew / 6
    most = amounts.sum(axis=0)
    low, high = (
        np.clip(mean + spread * (z + bend), 0, most)
        for z in (-NORMAL_QUANTILE_90, NORMAL_QUANTILE_90)
    )
    return DueSums(mean, np.minimum(low, mean), np.maximum(high, mean))
