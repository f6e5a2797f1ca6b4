"""When coats come due: the chance that each is worn by some day, as often as it is asked for."""

from collections.abc import Sequence

import numpy as np

from reminders.forecast.arrays import Floats
from reminders.forecast.clock import CLOCK_WEIGHTS, ClockWeights
from reminders.forecast.coats import Coats
from reminders.forecast.posterior import Posterior
from reminders.forecast.prediction import inspected_lives

CELLS_AT_ONCE = 20_000  # of coats times days: bounds memory


def worn_chances_by_day(
    coats: Coats,
    posterior: Posterior,
    days: Sequence[float],
    *,
    weights: ClockWeights = CLOCK_WEIGHTS,
) -> Floats:
    """Return the chance that a coat is worn by each of some days, inspections known.

    Parameters
    ----------
    coats : Coats
        The running coat of each of n decks.
    posterior : Posterior
        What is believed.
    days : sequence of float, length k
        In days since 1970-01-01, none before the newest inspection.
    weights : ClockWeights
        What the seasonal clock follows.

    Returns
    -------
    ndarray, shape (n, k)
        Between 0 and 1, not falling from one day to a later one.
    """
    lives = inspected_lives(coats, posterior, weights)
    chances = np.empty((len(coats), len(days)))
    at_once = max(1, CELLS_AT_ONCE // max(1, len(coats)))
    for first in range(0, len(days), at_once):
        part = np.asarray(days[first : first + at_once], dtype=float)
        grid = np.broadcast_to(part[:, None], (len(part), len(coats)))
        chances[:, first : first + at_once] = lives.chance_over(grid).T
    return chances
