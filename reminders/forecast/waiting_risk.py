"""What waiting risks: the chance that a coat that still takes a recoat today needs a strip some
time later."""

from collections.abc import Sequence

import numpy as np

from reminders.forecast.arrays import Floats
from reminders.forecast.clock import CLOCK_WEIGHTS, ClockWeights
from reminders.forecast.coats import Coats
from reminders.forecast.posterior import Posterior
from reminders.forecast.prediction import inspected_lives
from reminders.forecast.wear_limits import LOOK_HOLDS_DAYS, strip_ratios


def strip_chances_after_waits(
    coats: Coats,
    posterior: Posterior,
    today: float,
    waits: Sequence[float],
    *,
    weights: ClockWeights = CLOCK_WEIGHTS,
) -> tuple[Floats, Floats]:
    """Return the chance that the strip limit is passed today, and after each wait given that it is
    not passed today.

    Parameters
    ----------
    coats : Coats
        The running coat of each of n decks.
    posterior : Posterior
        What is believed.
    today : float
        In days since 1970-01-01.
    waits : sequence of float, length k
        How long is waited, in days.
    weights : ClockWeights
        What the seasonal clock follows.

    Returns
    -------
    today : ndarray, shape (n,)
        The chance that only a strip will do as it is.
    later : ndarray, shape (n, k)
        Between 0 and 1, not falling from one wait to a longer one.

    Notes
    -----
    With F the distribution of the age at which a strip is needed, inspections of the coat known,
    the chance after a wait w is (F(A(t + w)) − F(A(t))) / (1 − F(A(t))), A being the age on the
    seasonal clock.
    """
    lives = inspected_lives(coats, posterior, weights)
    ratio = strip_ratios(coats)
    gone = lives.chance_over(coats.recoatable_on, ratio)

    def passed(day: Floats) -> Floats:
        by_then = lives.chance_over(day, ratio)
        with np.errstate(divide="ignore", invalid="ignore"):
            since = (by_then - gone) / (1 - gone)
        # A limit that the finding contradicts is passed as soon as the finding holds no longer.
        holds = day <= coats.recoatable_on + LOOK_HOLDS_DAYS
        return np.clip(np.where(np.isnan(since), np.where(holds, 0.0, 1.0), since), 0.0, 1.0)

    days = np.full(len(coats), float(today))
    now = passed(days)
    later = np.stack([passed(days + wait) for wait in waits], axis=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        chance = (later - now[:, None]) / (1 - now[:, None])
    return now, np.clip(np.where(np.isnan(chance), 1.0, chance), 0.0, 1.0)
