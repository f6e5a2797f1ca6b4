"""What an answer is worth before it is given: the expected gain of asking a client how the coat
looks, and doing the best of several things by what they say.

Value of information (Raiffa & Schlaifer 1961, from memory): what the best choice costs now, less
what the best choice after each answer costs, each answer weighed by its chance.
"""

from dataclasses import dataclass

import numpy as np

from reminders.forecast.arrays import Floats
from reminders.forecast.clock import CLOCK_WEIGHTS, ClockWeights, SeasonalClock, seasonal_rate
from reminders.forecast.coats import Coats
from reminders.forecast.exposure import sun_on_deck
from reminders.forecast.intervals import STRIP_RATIO
from reminders.forecast.posterior import Posterior
from reminders.forecast.prediction import (
    believe_grades,
    believe_inspections,
    predict_log_life,
)
from reminders.forecast.priors import CLIENT_MISCLASSIFICATION

DAYS_A_MONTH = 365.25 / 12
MONTHS_AHEAD = 18  # the work is done now, or in any month up to then


@dataclass(frozen=True)
class WearChances:
    """How far n coats may be gone.

    Parameters
    ----------
    worn : ndarray, shape (n,)
        Chance that each is worn on the day of the answer.
    strip : ndarray, shape (n, k)
        Chance that only a strip will do by the day of each of k choices, equally far apart.
    """

    worn: Floats
    strip: Floats


@dataclass(frozen=True)
class ChoiceCosts:
    """What the choices cost, in any currency.

    Parameters
    ----------
    recoat : float
        Price of a recoat.
    strip : float
        Price of a strip.
    saved : ndarray, shape (n,)
        What waiting from one choice to the next saves while the coat is not past saving: the share
        of a recoat that lasts that long.
    """

    recoat: float
    strip: float
    saved: Floats


def value_of_check(
    chances: WearChances,
    costs: ChoiceCosts,
    misclassification: float = CLIENT_MISCLASSIFICATION,
) -> Floats:
    """Return what knowing the client's answer is worth before choosing when to work.

    Parameters
    ----------
    chances : WearChances
        How far the coats may be gone.
    costs : ChoiceCosts
        What the choices cost.
    misclassification : float
        Chance that the answer is wrong.

    Returns
    -------
    ndarray, shape (n,)
        Not below 0; 0 where no answer would change the choice.
    """
    worn = chances.worn[:, None]
    everybody = np.ones_like(worn)
    says_worn = _share_with_answer(everybody, worn, misclassification)
    strip_and_says_worn = _share_with_answer(chances.strip, worn, misclassification)

    def least(share: Floats, strip: Floats) -> Floats:
        # A deck past saving is stripped then: waiting on saves nothing any more.
        waited = np.cumsum(share - strip[:, :-1], axis=1)
        saved = costs.saved[:, None] * np.pad(waited, ((0, 0), (1, 0)))
        cost = costs.recoat * share + (costs.strip - costs.recoat) * strip - saved
        return cost.min(axis=1)

    gain = (
        least(everybody, chances.strip)
        - least(says_worn, strip_and_says_worn)
        - least(everybody - says_worn, chances.strip - strip_and_says_worn)
    )
    return np.maximum(gain, 0.0)


def _share_with_answer(event: Floats, worn: Floats, misclassification: float) -> Floats:
    # Chance of an event together with the answer “worn”; of two events “gone by some age” the
    # smaller lies within the larger.
    both = np.minimum(event, worn)
    return (1 - misclassification) * both + misclassification * (event - both)


def client_check_values(
    coats: Coats,
    posterior: Posterior,
    today: float,
    *,
    strip_price: float,
    weights: ClockWeights = CLOCK_WEIGHTS,
) -> Floats:
    """Return what asking the client of each coat is worth, in prices of a recoat.

    Parameters
    ----------
    coats : Coats
        The running coats.
    posterior : Posterior
        What is believed.
    today : float
        In days since 1970-01-01.
    strip_price : float
        Price of a strip in prices of a recoat.
    weights : ClockWeights
        What the seasonal clock follows.

    Returns
    -------
    ndarray, shape (n,)
        Shares of the price of a recoat.
    """
    clock = SeasonalClock(seasonal_rate(sun_on_deck(coats), coats.wet_days, weights))
    belief = believe_grades(coats, clock, predict_log_life(coats, posterior), posterior)
    seen = believe_inspections(coats, clock, belief)
    start = clock.reading(coats.coated_on)

    def chance(day: float, ratio: float = 1.0) -> Floats:
        age = clock.reading(np.full(len(coats), day)) - start
        with np.errstate(divide="ignore", invalid="ignore"):
            z = (np.log(age / ratio) - belief.mean) / belief.spread
        return seen.cdf(np.where(np.isnan(z), -np.inf, z))

    days = [today + DAYS_A_MONTH * month for month in range(MONTHS_AHEAD + 1)]
    # Left for half its life again a film has to come off, and an oil takes about as much work
    # (`wear_limits`): one limit for both.
    strip = np.stack([chance(day, STRIP_RATIO) for day in days], axis=1)
    costs = ChoiceCosts(1.0, strip_price, np.exp(-belief.mean))
    return value_of_check(WearChances(chance(today), strip), costs)
